"""Loop: the order of one tick, and of a life.

    orders -> probes -> decide -> relays -> read back -> journal -> broker -> watchdog -> rest

One loop, one thread, at its own pace. Act, then write down, then tell; the watchdog is fed only
when all of it has been done. Whatever goes wrong, the relays are off on the way out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from controller import answer, report
from controller.decision.decide import Plan, State, decide
from controller.decision.vocabulary import Applied, Command, Decision, Moment, Reading, Transition
from controller.edge.clock import Clock
from controller.edge.journal import Journal
from controller.wire import Line, Reply

EARLY_S = 0.5  # Why: an order ends a rest, but not so that a flood of them could leave none.


class Probes(Protocol):
    """Whatever gives one reading for each fitted role."""

    def read(self) -> tuple[Reading, ...]:
        """One reading for each fitted role."""


class Relays(Protocol):
    """Whatever obeys a command."""

    def apply(self, command: Command) -> Applied:
        """Switches, reads back and says what is so."""

    def off(self) -> None:
        """Switches everything off."""


class Courier(Protocol):
    """Whatever carries journalled lines away. It never blocks and never raises."""

    def say(self, reply: Reply) -> None:
        """Takes an answer along with the next turn."""

    def pump(self, now: Moment) -> None:
        """Carries what it can now."""


class Hub(Protocol):
    """Whatever shows the newest state to others. It never blocks and never raises."""

    def show(self, lines: tuple[Line, ...]) -> None:
        """Shows what a turn has written down."""


class Watchdog(Protocol):
    """Whatever must hear from a living loop."""

    def feed(self) -> None:
        """Says that a whole tick has been done."""


@dataclass(frozen=True, slots=True)
class Parts:
    """The outside things of one controller.

    Args:
        clock: also the one who rests.
        probes: what is felt.
        relays: what is switched.
        journal: where it is written down.
        courier: who tells; None when nobody is to be told.
        watchdog: who must hear from the loop.
        pump_every_s: how often, while resting, the courier is given a turn.
        orders: who takes orders in; None when nobody may give any.
        hub: who shows the newest state to others; None when nobody does.
    """

    clock: Clock
    probes: Probes
    relays: Relays
    journal: Journal
    courier: Courier | None
    watchdog: Watchdog
    pump_every_s: float = 0.25
    orders: answer.Orders | None = None
    hub: Hub | None = None


def tick(plan: Plan, state: State, parts: Parts, speaker: report.Speaker) -> tuple[State, Decision]:
    """One turn: hear orders, feel, decide, act, write down, tell.

    Returns:
        the state for the next turn, with what the relays really did, and the decision.
    """
    state, replies, news = answer.answered(
        plan, state, parts.orders, speaker.chamber, parts.clock.now()
    )
    readings = parts.probes.read()
    now = parts.clock.now()
    state, decision = decide(plan, state, readings, now)
    decision = replace(decision, transitions=(*news, *decision.transitions))
    applied = parts.relays.apply(decision.command)
    state = replace(state, applied=replace(applied, journal_ok=state.applied.journal_ok))
    written = report.lines(speaker, state, decision, now, parts.journal.next_seq)
    parts.journal.append(written, now, urgent=bool(decision.transitions))
    journal_ok = parts.journal.trouble is None
    state = replace(state, applied=replace(state.applied, journal_ok=journal_ok))
    if parts.courier is not None:
        for reply in replies:
            parts.courier.say(reply)
        parts.courier.pump(now)
    if parts.hub is not None:
        parts.hub.show(written)
    parts.watchdog.feed()
    return state, decision


def run(
    plan: Plan,
    state: State,
    parts: Parts,
    speaker: report.Speaker,
    until: Callable[[State, Decision], bool],
) -> State:
    """Turns at `speaker.tick_s` until told to stop; relays are off when it returns or raises."""
    try:
        due_s = parts.clock.now().mono_s
        while True:
            state, decision = tick(plan, state, parts, speaker)
            if until(state, decision):
                return state
            # Why: after a stall the pace starts anew; turns that were missed are not made up.
            due_s = max(due_s + speaker.tick_s, parts.clock.now().mono_s)
            _rest(parts, due_s)
            # Why: a turn that an order brought forward begins the pace anew.
            due_s = min(due_s, parts.clock.now().mono_s)
    finally:
        parts.relays.off()


def tell(parts: Parts, speaker: report.Speaker, code: str, state: str, text: str) -> None:
    """Writes down something that happened to the controller itself."""
    now = parts.clock.now()
    happened = Transition(code, state, now.mono_s, text)
    parts.journal.append(
        report.events(speaker, (happened,), None, now, parts.journal.next_seq), now, urgent=True
    )


def _rest(parts: Parts, due_s: float) -> None:
    """Rests until it is due, or an order waits, or a signal came. The courier has its turns."""
    if parts.courier is None:
        parts.clock.sleep_until(due_s)
        return
    early_s = parts.clock.now().mono_s + EARLY_S
    while (now := parts.clock.now()).mono_s < due_s:
        wake_s = min(due_s, now.mono_s + parts.pump_every_s)
        parts.clock.sleep_until(wake_s)
        woke = parts.clock.now()
        parts.courier.pump(woke)
        if woke.mono_s < wake_s:  # A signal has ended the rest: the loop must look why.
            return
        if parts.orders is not None and parts.orders.is_waiting and woke.mono_s >= early_s:
            return
