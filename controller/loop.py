"""Loop: the order of one tick, and of a life.

    probes -> decide -> relays -> read back -> journal -> broker -> watchdog -> rest

One loop, one thread, at its own pace. Act, then write down, then tell; the watchdog is fed only
when all of it has been done. Whatever goes wrong, the relays are off on the way out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from controller import report
from controller.decision.decide import Plan, State, decide
from controller.decision.interlock_rules import InterlockMemory
from controller.decision.profile import ProfileMemory
from controller.decision.regulator import RegulatorMemory
from controller.decision.vocabulary import Applied, Command, Decision, Moment, Reading, Transition
from controller.edge.clock import Clock
from controller.edge.journal import Journal
from controller.wire import Tick

# Why: a longer absence says nothing about where the ferment is; the brewer must.
AWAY_S_MAX = 7 * 86_400.0


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

    def pump(self, now: Moment) -> None:
        """Carries what it can now."""


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
    """

    clock: Clock
    probes: Probes
    relays: Relays
    journal: Journal
    courier: Courier | None
    watchdog: Watchdog
    pump_every_s: float = 0.25


def tick(plan: Plan, state: State, parts: Parts, speaker: report.Speaker) -> tuple[State, Decision]:
    """One turn: feel, decide, act, write down, tell.

    Returns:
        the state for the next turn, with what the relays really did, and the decision.
    """
    readings = parts.probes.read()
    now = parts.clock.now()
    state, decision = decide(plan, state, readings, now)
    applied = parts.relays.apply(decision.command)
    state = replace(state, applied=replace(applied, journal_ok=state.applied.journal_ok))
    written = report.lines(speaker, state, decision, now, parts.journal.next_seq)
    parts.journal.append(written, now, urgent=bool(decision.transitions))
    journal_ok = parts.journal.trouble is None
    state = replace(state, applied=replace(state.applied, journal_ok=journal_ok))
    if parts.courier is not None:
        parts.courier.pump(now)
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
    finally:
        parts.relays.off()


def tell(parts: Parts, speaker: report.Speaker, code: str, state: str, text: str) -> None:
    """Writes down something that happened to the controller itself."""
    now = parts.clock.now()
    happened = Transition(code, state, now.mono_s, text)
    parts.journal.append(
        report.events(speaker, (happened,), None, now, parts.journal.next_seq), now, urgent=True
    )


def resumed(last: Tick | None, batch: str | None, now: Moment, release: tuple[str, ...]) -> State:
    """The state to start from, given the last tick of an earlier life.

    A latched trip outlives a restart unless it is named in `release`. The profile goes on where it
    was if the batch is the same; time away counts when both clocks can be believed.
    """
    if last is None:
        return State()
    trips = tuple(code for code in last.trips if code not in release)
    state = State(
        interlocks=InterlockMemory(trips=trips),
        applied=Applied(heat_starts=last.heat_starts, fan_starts=last.fan_starts),
    )
    if last.batch != batch or last.step is None or last.step_elapsed_s is None:
        return state
    away_s = now.utc_s - last.utc_s if now.synced and last.synced else 0.0
    away_s = away_s if 0.0 < away_s <= AWAY_S_MAX else 0.0
    return replace(
        state,
        profile=ProfileMemory(last.step - 1, last.step_elapsed_s + away_s, has_begun=True),
        regulator=RegulatorMemory(integral=last.integral),
    )


def _rest(parts: Parts, due_s: float) -> None:
    if parts.courier is None:
        parts.clock.sleep_until(due_s)
        return
    while (now := parts.clock.now()).mono_s < due_s:
        wake_s = min(due_s, now.mono_s + parts.pump_every_s)
        parts.clock.sleep_until(wake_s)
        woke = parts.clock.now()
        parts.courier.pump(woke)
        if woke.mono_s < wake_s:  # A signal has ended the rest: the loop must look why.
            return
