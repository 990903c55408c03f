"""Resume: the state to start from, made of what an earlier life left in its last tick.

A latched trip outlives a restart, and so do step, hold, shelved and acknowledged alarms, and the
counts of the relays. Time away counts only when both clocks could be believed; else a step, a hold
and a shelved alarm go on where they were. It reads no file and decides nothing about relays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.decision.alarm_memory import restored
from controller.decision.decide import State
from controller.decision.interlock_rules import RULE_BY_CODE, InterlockMemory
from controller.decision.profile import Begun, Hold, ProfileMemory
from controller.decision.regulator import RegulatorMemory
from controller.decision.vocabulary import Applied, Moment
from controller.wire import Tick

# Why: a longer absence says nothing about where the ferment is; the brewer must.
AWAY_S_MAX = 7 * 86_400.0


@dataclass(frozen=True, slots=True)
class Inherited:
    """What is in this chamber now: the batch of the settings, or what an order began or ended."""

    batch: str | None
    begun: Begun | None = None

    @property
    def name(self) -> str | None:
        """The batch that is in the chamber."""
        return self.batch if self.begun is None else self.begun.batch


def resumed(
    last: Tick | None, inherited: Inherited, now: Moment, release: tuple[str, ...]
) -> State:
    """The state to start from.

    Args:
        last: the last tick of an earlier life; None: there was none.
        inherited: what is in the chamber.
        now: this moment.
        release: trips that somebody at the machine has put right.
    """
    begun = inherited.begun
    if last is None:
        return State(begun=begun, profile=_anew(begun, now))
    away_s = _away_s(last, now)
    left_s = {code: left_s - away_s for code, left_s in last.shelved_left_s.items()}
    aim_c = None
    if last.target_c is not None:
        aim_c = (last.target_c, last.target_high_c or last.target_c)
    trips = tuple(code for code in last.trips if code in RULE_BY_CODE and code not in release)
    state = State(
        interlocks=InterlockMemory(trips=trips),
        alarms=restored(last.alarm_states, left_s, last.first_out, aim_c, now),
        applied=Applied(heat_starts=last.heat_starts, fan_starts=last.fan_starts),
        begun=begun,
    )
    is_same = last.batch == inherited.name and last.begun_by == (begun.id if begun else None)
    if not is_same:
        return replace(state, profile=_anew(begun, now))
    return replace(
        state,
        profile=_profile(last, away_s),
        regulator=RegulatorMemory(integral=last.integral),
        gravity_sg=last.gravity_sg,
    )


def _away_s(last: Tick, now: Moment) -> float:
    """How long nobody was here; 0 when the clocks cannot tell, or tell what cannot be."""
    away_s = now.utc_s - last.utc_s if now.synced and last.synced else 0.0
    return away_s if 0.0 < away_s <= AWAY_S_MAX else 0.0


def _anew(begun: Begun | None, now: Moment) -> ProfileMemory:
    """A procedure that has not begun yet; one begun by order counts from its pitching."""
    if begun is None or begun.pitched_utc_s is None or not now.synced:
        return ProfileMemory()
    since_s = now.utc_s - begun.pitched_utc_s
    return ProfileMemory(elapsed_s=since_s if 0.0 < since_s <= AWAY_S_MAX else 0.0)


def _profile(last: Tick, away_s: float) -> ProfileMemory:
    """Where the procedure is. While a hold lasts it waits, so only what is left of the time away
    counts towards its step.
    """
    hold, waited_s = None, 0.0
    if last.hold_c is not None:
        waited_s = away_s if last.hold_left_s is None else min(away_s, last.hold_left_s)
        left_s = None if last.hold_left_s is None else last.hold_left_s - waited_s
        hold = Hold(last.hold_c, left_s)
    if last.step is None or last.step_elapsed_s is None:
        return ProfileMemory(hold=hold)
    elapsed_s = last.step_elapsed_s + away_s - waited_s
    return ProfileMemory(max(0, last.step - 1), elapsed_s, has_begun=True, hold=hold)
