"""What a message says: short sentences, what to do first, in the units of who is told. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.notify.decision import Bundle
from dashboard.notify.news import PRIORITIES, Message, News, State, Transition
from dashboard.sheet import words
from dashboard.sheet.units import Units

LINES_MAX = 12  # Why: more is not read on a phone; the page has the rest.
SUBJECT_CHARACTERS_MAX = 78  # Source: RFC 5322, 2.1.1: a line of mail should have no more.
TEXT_CHARACTERS_MAX = 2000  # Why: the narrowest services take about that much.
_URGENCY = {"high": "Now", "medium": "Soon", "low": "When you can"}


def composed(bundle: Bundle, now_utc_s: float, units: Units, public: str) -> Message:
    """The message for this bundle. `public` is the dashboard's address from outside, or empty."""
    transitions = [news.transition for news in bundle.news]
    priority = min((each.priority for each in transitions), key=PRIORITIES.index)
    if len(transitions) == 1:
        (only,) = transitions
        subject, text = _subject(only), _said(only, now_utc_s, units)
    else:
        subject, text = _gathered(bundle.news, now_utc_s, units)
    if bundle.is_flood:
        text = f"Much is happening at once, so it is told together. {text}"
    return Message(
        0,
        now_utc_s,
        priority,
        subject[:SUBJECT_CHARACTERS_MAX],
        text[:TEXT_CHARACTERS_MAX],
        _link(transitions, public),
    )


def merged(messages: Sequence[Message]) -> Message:
    """One message for several that could not be sent for a while."""
    priority = min((each.priority for each in messages), key=PRIORITIES.index)
    shown = [f"{each.subject}. {each.text}" for each in messages[-LINES_MAX:]]
    lines = _with_rest(shown, len(messages) - len(shown))
    head = "These could not be sent when they were new."
    text = "\n".join((head, *lines))[:TEXT_CHARACTERS_MAX]
    newest = messages[-1]
    subject = f"{len(messages)} messages that had to wait"
    return Message(newest.id, newest.made_utc_s, priority, subject, text, newest.link)


def trial(now_utc_s: float, target: str, units: Units, public: str) -> Message:
    """What the button of a target sends."""
    text = f"This is how you are told. Sent at {words.moment(now_utc_s, now_utc_s, units.zone)}."
    return Message(0, now_utc_s, "low", f"A trial for {target}", text, public)


def _subject(transition: Transition) -> str:
    where = transition.chamber or "The dashboard"
    if transition.state is State.CLEARED:
        return f"{where}: over"
    return f"{where}: {_URGENCY[transition.priority].lower()}"


def _said(transition: Transition, now_utc_s: float, units: Units) -> str:
    when = words.moment(transition.true_utc_s, now_utc_s, units.zone)
    text = units.reweighed(transition.text)
    if transition.state is State.CLEARED:
        code = transition.thing.rpartition("/")[2].replace("-", " ")
        return f"Over since {when}: {code}. {text}"
    return " ".join(filter(None, (text, units.reweighed(transition.remedy), f"Since {when}.")))


def _gathered(news: Sequence[News], now_utc_s: float, units: Units) -> tuple[str, str]:
    """The most urgent first; within a priority the newest."""
    ordered = sorted(
        (each.transition for each in news),
        key=lambda each: (
            each.state is State.CLEARED,
            PRIORITIES.index(each.priority),
            -each.true_utc_s,
        ),
    )
    shown = [
        f"{each.chamber or 'The dashboard'}: {_said(each, now_utc_s, units)}"
        for each in ordered[:LINES_MAX]
    ]
    chambers = {each.chamber or "the dashboard" for each in ordered}
    where = chambers.pop() if len(chambers) == 1 else f"{len(chambers)} places"
    return f"{len(ordered)} things at {where}", "\n".join(
        _with_rest(shown, len(ordered) - len(shown))
    )


def _with_rest(lines: Sequence[str], rest: int) -> tuple[str, ...]:
    return (*lines, f"And {rest} more; the page has them.") if rest > 0 else tuple(lines)


def _link(transitions: Sequence[Transition], public: str) -> str:
    chambers = {each.chamber for each in transitions}
    if not public or len(chambers) != 1:
        return public
    (chamber,) = chambers
    return f"{public.rstrip('/')}/chambers/{chamber}" if chamber else public
