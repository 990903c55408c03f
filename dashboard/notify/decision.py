"""What is told now, and what is not and why: a pure function of what waits, what was told, and now.

Once per transition. A clear is told only when its raise was; a raise that is over before it was
told is not told at all. In quiet hours only what is dangerous passes, the rest waits. More than
`FLOOD_MESSAGES` within `FLOOD_S` become one summary. It sends nothing, writes no text and asks no
clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from enum import StrEnum

from dashboard.notify.news import PRIORITIES, News, State
from dashboard.sheet.words import local

# Source: ISA-18.2 and EEMUA 191 (from memory): a flood is more than 10 alarms in 10 minutes.
FLOOD_S = 600.0
FLOOD_MESSAGES = 10
DANGER_AGAIN_S = 60.0  # Why: in a flood what is dangerous waits a minute, not ten.
WAITED_S = 300.0  # Why: what waited this long (a night, a flood) comes in one message.
SAME_AGAIN_S = 3600.0  # Why: a controller that restarts raises anew what people know already.
OLD_S = 3600.0  # Why: news of a week's outage is history, unless it still stands.


class Outcome(StrEnum):
    """What became of a transition."""

    TOLD = "told"
    OVER_BEFORE = "over before it was told"
    RAISE_NOT_TOLD = "its beginning was not told"
    SEEN = "seen before it was told"
    NO_MESSAGE = "asks for no message"
    NOT_IMPORTANT = "below the priority that is told"
    TOLD_BEFORE = "told within the hour"
    HISTORY = "over long ago"


@dataclass(frozen=True, slots=True)
class Rules:
    """What the brewer wants.

    Args:
        least: the lowest priority that is told.
        quiet: the quiet hours as minutes since midnight, from and to; equal: there are none.
        zone: in which those are; None: the machine's.
    """

    least: str = "medium"
    quiet: tuple[int, int] = (0, 0)
    zone: tzinfo | None = None

    def are_quiet(self, now_utc_s: float) -> bool:
        """Whether it is within the quiet hours, by the clock on the wall."""
        at = local(now_utc_s, self.zone)
        minute, (first, last) = at.hour * 60 + at.minute, self.quiet
        if first <= last:
            return first <= minute < last
        return minute >= first or minute < last


@dataclass(frozen=True, slots=True)
class Past:
    """What was told before.

    Args:
        told_utc_s: things whose raise was told and that are not over, with when.
        quieted: those of them that a person has seen or shelved since.
        message_utc_s: when messages were made within the last `FLOOD_S`.
        summary_utc_s: when the last summary of a flood was made; None: never.
    """

    told_utc_s: Mapping[str, float] = field(default_factory=dict)
    quieted: frozenset[str] = frozenset()
    message_utc_s: tuple[float, ...] = ()
    summary_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class Bundle:
    """What goes into one message, oldest first. `is_flood`: because there was too much at once."""

    news: tuple[News, ...]
    is_flood: bool = False


@dataclass(frozen=True, slots=True)
class Decision:
    """Everything that is settled now. What is in neither waits for another look."""

    outcomes: Mapping[int, Outcome]
    bundles: tuple[Bundle, ...]


def decide(
    rules: Rules,
    waiting: Sequence[News],
    past: Past,
    standing: frozenset[str],
    now_utc_s: float,
) -> Decision:
    """What is told now.

    Args:
        rules: what the brewer wants.
        waiting: everything not settled yet, oldest first.
        past: what was told before.
        standing: the things that are known to stand now; of old news only these are told.
        now_utc_s: the dashboard's clock.
    """
    outcomes: dict[int, Outcome] = {}
    wanted = [
        news
        for news in _unanswered(waiting, past, outcomes)
        if _is_wanted(news, rules, past, standing, now_utc_s, outcomes)
    ]
    if rules.are_quiet(now_utc_s):
        wanted = [news for news in wanted if _is_danger(news)]
    bundles = _bundled(wanted, past, now_utc_s)
    for bundle in bundles:
        outcomes.update({news.id: Outcome.TOLD for news in bundle.news})
    return Decision(outcomes, bundles)


def _unanswered(waiting: Sequence[News], past: Past, outcomes: dict[int, Outcome]) -> list[News]:
    """The raises nothing has answered yet, and the clears of what was told; the rest is settled."""
    left: dict[int, News] = {}
    raised: dict[str, News] = {}
    told = set(past.told_utc_s)
    for news in waiting:
        state, thing = news.transition.state, news.transition.thing
        before = raised.pop(thing, None)
        if before is not None:
            del left[before.id]
            outcomes[before.id] = {
                State.RAISED: Outcome.TOLD_BEFORE,
                State.CLEARED: Outcome.OVER_BEFORE,
                State.QUIETED: Outcome.SEEN,
            }[state]
        if state is State.RAISED:
            raised[thing] = left[news.id] = news
        elif state is State.QUIETED:
            outcomes[news.id] = Outcome.NO_MESSAGE
        elif thing not in told:
            outcomes[news.id] = Outcome.RAISE_NOT_TOLD
        elif not news.transition.says_over:
            outcomes[news.id] = Outcome.NO_MESSAGE
        else:
            left[news.id] = news
            told.discard(thing)
    return list(left.values())


def _is_wanted(
    news: News,
    rules: Rules,
    past: Past,
    standing: frozenset[str],
    now_utc_s: float,
    outcomes: dict[int, Outcome],
) -> bool:
    """Whether this is worth a message at all; if not, why."""
    transition = news.transition
    if transition.state is State.CLEARED:
        return True
    why: Outcome | None = None
    told_utc_s = past.told_utc_s.get(transition.thing)
    is_known = told_utc_s is not None and transition.thing not in past.quieted
    if PRIORITIES.index(transition.priority) > PRIORITIES.index(rules.least):
        why = Outcome.NOT_IMPORTANT
    elif is_known and told_utc_s is not None and now_utc_s - told_utc_s < SAME_AGAIN_S:
        why = Outcome.TOLD_BEFORE
    elif now_utc_s - transition.true_utc_s > OLD_S and transition.thing not in standing:
        # What waited through the quiet hours stands, or was cleared; this is another matter.
        why = Outcome.HISTORY
    if why is not None:
        outcomes[news.id] = why
    return why is None


def _is_danger(news: News) -> bool:
    return news.transition.state is State.RAISED and news.transition.priority == PRIORITIES[0]


def _bundled(wanted: Sequence[News], past: Past, now_utc_s: float) -> tuple[Bundle, ...]:
    """The messages, one for each transition unless there are too many or they had to wait."""
    if not wanted:
        return ()
    waited = tuple(news for news in wanted if now_utc_s - news.noticed_utc_s > WAITED_S)
    fresh = tuple(news for news in wanted if news not in waited)
    bundles = [Bundle((news,)) for news in fresh]
    if waited:
        bundles.insert(0, Bundle(waited))
    if past.summary_utc_s is not None:
        rest_s = DANGER_AGAIN_S if any(map(_is_danger, wanted)) else FLOOD_S
        if now_utc_s - past.summary_utc_s < rest_s:
            return ()
        if now_utc_s - past.summary_utc_s < FLOOD_S:
            return (Bundle(tuple(wanted), is_flood=True),)
    lately = [each for each in past.message_utc_s if now_utc_s - each < FLOOD_S]
    if len(lately) + len(bundles) > FLOOD_MESSAGES:
        return (Bundle(tuple(wanted), is_flood=True),)
    return tuple(bundles)
