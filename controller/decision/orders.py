"""Orders: what a chamber is asked to do, done whole or refused with the reason. (Before a tick.)

An order that fits its row of the table is bounded here by this chamber's own limits and by what
stands now, and becomes a new state, a sentence for whoever asked, and what is to be written down.
One that is refused changes nothing. It can never switch a relay, move a limit or quieten an
interlock; whether an order is new, and in time, is `edge/orders.py`'s.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from controller.decision import alarm_memory, interlocks, profile
from controller.decision.alarm_rules import RULE_BY_CODE as ALARM_BY_CODE
from controller.decision.decide import Plan, State, procedure
from controller.decision.interlock_rules import LIMIT_MARGIN_K, RULE_BY_CODE
from controller.decision.profile import Begun, Hold, Profile, ProfileMemory
from controller.decision.vocabulary import Moment, Transition

PITCHED_S_MAX = 7 * 86_400.0  # Why: a batch that old is past its procedure; its brewer must say.
KIND_SHOWN_MAX = 40  # Why: an unknown kind is anything, and the longest known is 11 characters.
_TRIPPED = "tripped"  # the alarm that tells of every trip


@dataclass(frozen=True, slots=True)
class Asked:
    """An order that fits its row of the table, with its procedure already read."""

    id: str
    issuer: str
    kind: str
    numbers: Mapping[str, float] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    profile: Profile | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether an order was taken, and a sentence that says what was done, or why not and what
    to do instead.
    """

    taken: bool
    reason: str


Outcome: TypeAlias = tuple[State, Answer, tuple[Transition, ...]]


def obey(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    """What becomes of one order.

    Returns:
        the state after it (the same one when it is refused), the answer, and what to write down:
        first what has changed, last that the order was taken or refused.
    """
    after, answer, news = _KINDS[asked.kind](plan, state, asked, now)
    assert answer.taken or (after is state and not news), asked
    if not answer.taken:
        return after, answer, refused(asked.id, asked.issuer, asked.kind, answer, now)
    noted = Transition(
        "order", "taken", now.mono_s, f"{asked.issuer}, {asked.kind}: {answer.reason}"
    )
    return after, answer, tuple(replace(each, order=asked.id) for each in (*news, noted))


def refused(
    order_id: str, issuer: str, kind: str, answer: Answer, now: Moment
) -> tuple[Transition, ...]:
    """What is written down of an order that was refused, here or at the door."""
    text = f"{issuer}, {kind[:KIND_SHOWN_MAX]}: {answer.reason}"
    return (Transition("order", "refused", now.mono_s, text, order=order_id),)


def _taken(state: State, reason: str, *news: Transition) -> Outcome:
    return state, Answer(True, reason), news


def _refused(state: State, reason: str) -> Outcome:
    return state, Answer(False, reason), ()


def _begin(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    begun = asked.profile
    assert begun is not None, asked
    limit_c = plan.interlocks.beer_c_max - LIMIT_MARGIN_K
    for number, step in enumerate(begun.steps, 1):
        if max(step.start_c, step.end_c) > limit_c:
            return _refused(
                state,
                f"Step {number} ({step.name}) goes to {max(step.start_c, step.end_c):g} °C, and "
                f"this chamber allows {limit_c:g} °C; lower the step, or raise "
                "limits.beer_c_max in its settings.",
            )
    pitched_utc_s = asked.numbers.get("pitched_utc_s")
    elapsed_s = 0.0
    if pitched_utc_s is not None and now.synced:
        since_s = now.utc_s - pitched_utc_s
        if since_s > PITCHED_S_MAX:
            return _refused(
                state,
                "It was pitched more than a week ago, so where its procedure is cannot be known; "
                "hold a temperature instead.",
            )
        elapsed_s = max(0.0, since_s)
    batch = asked.texts["batch"]
    after = replace(
        state,
        begun=Begun(asked.id, batch, begun, pitched_utc_s),
        profile=ProfileMemory(elapsed_s=elapsed_s),
        gravity_sg=None,
    )
    return _taken(after, f"{batch} follows {begun.name}, {len(begun.steps)} steps.")


def _end(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    if procedure(plan, state) is None and state.profile.hold is None:
        return _refused(state, "No batch is being held, so there is nothing to end.")
    after = replace(state, begun=Begun(asked.id), profile=ProfileMemory(), gravity_sg=None)
    reason = "The batch is ended; heat and fan stay off."
    return _taken(after, reason, Transition("profile", "ended", now.mono_s, reason))


def _hold(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    target_c, for_s = asked.numbers["target_c"], asked.numbers.get("for_s")
    limit_c = plan.interlocks.beer_c_max - LIMIT_MARGIN_K
    if target_c > limit_c:
        return _refused(
            state,
            f"{target_c:g} °C is above the {limit_c:g} °C this chamber allows; ask for less, or "
            "raise limits.beer_c_max in its settings.",
        )
    until = "until resumed" if for_s is None else f"for {for_s / 60.0:.0f} min"
    reason = f"Holding {target_c:.1f} °C {until}; the procedure waits."
    word = "begun" if state.profile.hold is None else "changed"
    after = replace(state, profile=replace(state.profile, hold=Hold(target_c, for_s)))
    return _taken(after, reason, Transition("hold", word, now.mono_s, reason))


def _resume(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    if state.profile.hold is None:
        return _refused(state, "No order holds a temperature, so there is nothing to resume.")
    reason = "The hold is ended; the procedure goes on where it waited."
    if procedure(plan, state) is None:
        reason = "The hold is ended; no procedure is followed, so heat and fan stay off."
    after = replace(state, profile=replace(state.profile, hold=None))
    return _taken(after, reason, Transition("hold", "ended", now.mono_s, reason))


def _next(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    followed = procedure(plan, state)
    if followed is None:
        return _refused(state, "No procedure is followed, so there is no next step.")
    if state.profile.hold is not None:
        return _refused(state, "The procedure waits while a temperature is held; resume it first.")
    if state.profile.index >= len(followed.steps) - 1:
        return _refused(state, "This is the last step; it holds until the batch is ended.")
    memory, news = profile.skipped(followed, state.profile, now)
    reason = (
        f"Step {memory.index + 1} of {len(followed.steps)}: {followed.steps[memory.index].name}."
    )
    return _taken(replace(state, profile=memory), reason, *news)


def _gravity(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    if procedure(plan, state) is None:
        return _refused(state, "No procedure is followed, so no step waits for a gravity.")
    gravity_sg = asked.numbers["gravity_sg"]
    return _taken(replace(state, gravity_sg=gravity_sg), f"The gravity is {gravity_sg:.4f}.")


def _acknowledge(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    code = asked.texts.get("code")
    if code in RULE_BY_CODE and code in state.interlocks.trips:
        code = _TRIPPED
    if code is not None and code not in ALARM_BY_CODE:
        return _refused(state, f"No alarm is called {code}; look at those that stand.")
    memory, news = alarm_memory.acknowledged(state.alarms, code, now)
    reason = "Noted as seen." if news else "There was nothing left to acknowledge."
    return _taken(replace(state, alarms=memory), reason, *news)


def _shelve(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    code, for_s = asked.texts["code"], asked.numbers["for_s"]
    if code in RULE_BY_CODE or (code in ALARM_BY_CODE and not ALARM_BY_CODE[code].may_be_shelved):
        return _refused(
            state, f"{code} asks to act at once, so it is never kept quiet; put its cause right."
        )
    if code not in ALARM_BY_CODE:
        return _refused(state, f"No alarm is called {code}; look at those that stand.")
    memory, news = alarm_memory.shelved(state.alarms, code, for_s, now)
    reason = f"{code} is kept quiet for {for_s / 3600.0:.3g} h."
    return _taken(replace(state, alarms=memory), reason, *news)


def _unshelve(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    code = asked.texts["code"]
    if code not in alarm_memory.shelved_left_s(state.alarms, now):
        return _refused(state, f"{code} is not kept quiet, so nothing is to be undone.")
    memory, news = alarm_memory.unshelved(state.alarms, code, now)
    return _taken(replace(state, alarms=memory), f"{code} may speak again.", *news)


def _release(plan: Plan, state: State, asked: Asked, now: Moment) -> Outcome:
    code = asked.texts["code"]
    if code not in state.interlocks.trips:
        return _refused(state, f"{code} is not a trip that stands, so there is nothing to release.")
    rule = RULE_BY_CODE[code]
    if rule.at_machine:
        return _refused(
            state,
            f"{code} is released only by somebody who stands at the machine and has found the "
            f"cause: type `barmkeep release` there, with the chamber's name and {code}, then start "
            "its service again.",
        )
    if (why := _not_safe(plan, state)) is not None:
        return _refused(state, why)
    after = replace(state, interlocks=interlocks.released(state.interlocks, code))
    reason = f"{code} is released; heat may come back with the next turn."
    return _taken(after, reason, Transition(code, "released", now.mono_s, reason))


def _not_safe(plan: Plan, state: State) -> str | None:
    """Why no trip can be released now; None when nothing speaks against it.

    The interlocks look again in the same tick, so what is still wrong trips at once.
    """
    beer, pad, limits = state.evidence.beer, state.evidence.pad, plan.interlocks
    if beer.value_c is None:
        return "The beer cannot be read; see to its probe first, then release."
    if beer.value_c >= limits.beer_c_max:
        return (
            f"The beer is at {beer.value_c:.1f} °C and its limit is {limits.beer_c_max:g} °C; let "
            "it cool first, then release."
        )
    if pad.fitted and (pad.value_c is None or pad.value_c >= limits.pad_c_max):
        return "The pad is too hot or cannot be read; see to it first, then release."
    return None


_KINDS: Mapping[str, Callable[[Plan, State, Asked, Moment], Outcome]] = {
    "begin": _begin,
    "end": _end,
    "hold": _hold,
    "resume": _resume,
    "next": _next,
    "gravity": _gravity,
    "acknowledge": _acknowledge,
    "shelve": _shelve,
    "unshelve": _unshelve,
    "release": _release,
}
