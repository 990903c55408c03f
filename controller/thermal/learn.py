"""Learn: the vessel's numbers from ordinary running, with how sure they are.

Every tick adds what was felt and switched to a stretch of some minutes; at its end the bank of
hypotheses (`bank.py`) takes it in. A stretch ends where the pad has just gone on, because then as
much heat is on its way as at the last such moment and the ripple of the relay cancels out. What
cannot be learned from (a lost probe, a running fan, a lid open) is passed over. It decides nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from controller.thermal import bank
from controller.thermal.bank import Stretch
from controller.thermal.learned import (
    SMOOTH_S,
    Course,
    Learned,
    belief_of,
    eased,
    in_watts,
    sound,
)
from controller.thermal.model import Vessel

STRETCH_S = 600.0  # Why: a tenth of a kelvin or so at full power, several steps of a DS18B20.
STRETCH_S_MAX = 1800.0  # Why: relay cycles are shorter; without an edge by then none will come.
GAP_S_MAX = 60.0  # Why: over a longer gap nobody knows what the relays did.
# Why: the fan's watts are known to no better than a third, and its cold goes on for half an hour.
FAN_SHADOW_S = 1800.0
STRANGE_MAX = 9  # Why: a vessel that surprises for two hours on end is not the one learned.
LAG_S = 430.0  # Source: apparent delay of a well-pressed pad, as in model.py.
ASSUMED_GARAGE_C = 5.0  # Why: only keeps the sums finite when there is no garage probe.


@dataclass(frozen=True, slots=True)
class Seen:
    """What one tick felt, and what had really been switched since the last.

    Args:
        mono_s: when.
        heat: the pad was on.
        fan: the fan was on.
        beer_c: the beer; None when not trusted.
        garage_c: the garage; None when not trusted or not fitted.
        has_garage: a garage probe is fitted.
    """

    mono_s: float
    heat: bool
    fan: bool
    beer_c: float | None
    garage_c: float | None
    has_garage: bool = True


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch in progress.

    Args:
        began_s: when it began; None when the next trusted reading begins one.
        beer_c: the beer, smoothed.
        lagged: the share of the pad's watts that has come through to the probe.
        lagged_then: the same when the stretch began.
        heat_s: seconds of pad in it.
        warmth_k_s: kelvins above the garage, summed over it.
        was_on: the pad was on in the last tick.
        has_switched: the pad has switched in it.
        shadow_s: until when the fan's cold is felt.
        last_mono_s: the last tick; None before the first.
    """

    began_s: float | None = None
    beer_c: float = 0.0
    lagged: float = 0.0
    lagged_then: float = 0.0
    heat_s: float = 0.0
    warmth_k_s: float = 0.0
    was_on: bool = False
    has_switched: bool = False
    shadow_s: float = -math.inf
    last_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class LearnMemory:
    """What learning remembers.

    Args:
        window: the stretch in progress.
        bank: the hypotheses; None before the first trusted reading.
        learned: what they say; None before the first stretch.
        vessel: the vessel as the regulator should take it: follows what is learned, gently.
        sound: the vessel by which switching is judged: see `learned.sound`.
        strange: how many stretches on end were too strange to learn from.
        hours: how long was learned from.
        paused_s: when learning was interrupted; None while it goes on.
    """

    window: Window = Window()
    bank: bank.Bank | None = None
    learned: Learned | None = None
    vessel: Vessel | None = None
    sound: Vessel | None = None
    strange: int = 0
    hours: float = 0.0
    paused_s: float | None = None


def learn(course: Course, memory: LearnMemory, seen: Seen) -> LearnMemory:
    """The memory after one tick."""
    before = memory.window
    dt_s = 0.0 if before.last_mono_s is None else seen.mono_s - before.last_mono_s
    shadow_s = seen.mono_s + FAN_SHADOW_S if seen.fan else before.shadow_s
    garage_c = seen.garage_c if seen.has_garage else ASSUMED_GARAGE_C
    is_gap = not 0.0 < dt_s <= GAP_S_MAX
    lagged = 0.0 if is_gap else before.lagged + (seen.heat - before.lagged) * dt_s / LAG_S
    if is_gap or seen.beer_c is None or garage_c is None or seen.mono_s < shadow_s:
        return _paused(memory, Window(None, 0.0, lagged, was_on=seen.heat), shadow_s, seen.mono_s)
    if before.began_s is None:
        return _begun(course, memory, replace(before, lagged=lagged), seen)
    beer_c = before.beer_c + (seen.beer_c - before.beer_c) * dt_s / SMOOTH_S
    window = Window(
        before.began_s,
        beer_c,
        lagged,
        before.lagged_then,
        before.heat_s + seen.heat * dt_s,
        before.warmth_k_s + (beer_c - garage_c) * dt_s,
        seen.heat,
        before.has_switched or seen.heat is not before.was_on,
        shadow_s,
        seen.mono_s,
    )
    grown = LearnMemory(
        window,
        memory.bank,
        memory.learned,
        memory.vessel,
        memory.sound,
        memory.strange,
        memory.hours,
    )
    if not _is_full(window, seen.heat and not before.was_on):
        return grown
    return _closed(course, grown, seen)


def _is_full(window: Window, has_gone_on: bool) -> bool:
    assert window.began_s is not None and window.last_mono_s is not None
    span_s = window.last_mono_s - window.began_s
    if span_s < STRETCH_S:
        return False
    return has_gone_on or not window.has_switched or span_s >= STRETCH_S_MAX


def _paused(memory: LearnMemory, window: Window, shadow_s: float, mono_s: float) -> LearnMemory:
    """Nothing can be learned now; what is known stays."""
    paused_s = memory.paused_s
    if paused_s is None:
        paused_s = memory.window.began_s if memory.window.began_s is not None else mono_s
    return replace(
        memory,
        window=replace(window, shadow_s=shadow_s, last_mono_s=mono_s),
        paused_s=paused_s,
    )


def _begun(course: Course, memory: LearnMemory, window: Window, seen: Seen) -> LearnMemory:
    """A first stretch begins, at the start or after a pause."""
    assert seen.beer_c is not None
    hypotheses = memory.bank
    if hypotheses is None:
        known = memory.learned
        belief = bank.described(course.vessel) if known is None else belief_of(course, known)
        hypotheses = bank.begun(course.ground, belief, seen.beer_c)
    else:
        away_s = 0.0 if memory.paused_s is None else seen.mono_s - memory.paused_s
        hypotheses = bank.resumed(course.ground, hypotheses, seen.beer_c, away_s)
    window = Window(
        seen.mono_s, seen.beer_c, window.lagged, window.lagged, 0.0, 0.0, seen.heat, False,
        window.shadow_s, seen.mono_s,
    )  # fmt: skip
    return replace(memory, window=window, bank=hypotheses, paused_s=None)


def _closed(course: Course, memory: LearnMemory, seen: Seen) -> LearnMemory:
    """The bank takes the stretch in, and the next one begins."""
    window = memory.window
    assert memory.bank is not None and window.began_s is not None
    stretch = Stretch(
        seen.mono_s - window.began_s,
        window.heat_s,
        window.warmth_k_s,
        window.lagged - window.lagged_then,
        window.beer_c,
        is_blind=not seen.has_garage,
        has_switched=window.has_switched,
    )
    hypotheses, is_strange = bank.advanced(course.ground, memory.bank, stretch)
    strange = memory.strange + 1 if is_strange else 0
    fresh = replace(
        window,
        began_s=seen.mono_s,
        lagged_then=window.lagged,
        heat_s=0.0,
        warmth_k_s=0.0,
        has_switched=False,
    )
    if strange > STRANGE_MAX:  # Another vessel, or another jacket: what was learned is void.
        return LearnMemory(replace(fresh, began_s=None), vessel=memory.vessel)
    if is_strange:
        return replace(memory, window=fresh, bank=hypotheses, strange=strange)
    hours = memory.hours + stretch.span_s / 3600.0
    learned = in_watts(course, bank.believed(course.ground, hypotheses), stretch, hours)
    vessel = eased(course.vessel, memory.vessel or course.vessel, learned)
    return LearnMemory(fresh, hypotheses, learned, vessel, sound(course.vessel, learned), 0, hours)


def recalled(course: Course, learned: Learned | None) -> LearnMemory:
    """The memory to begin with, given what an earlier life had learned of the same vessel."""
    if learned is None:
        return LearnMemory()
    vessel = replace(
        course.vessel,
        capacity_j_per_k=learned.capacity_j_per_k,
        loss_w_per_k=learned.loss_w_per_k,
        pad_w=learned.pad_w,
        delay_s=learned.delay_s,
    )
    return LearnMemory(
        learned=learned,
        vessel=vessel,
        sound=sound(course.vessel, learned),
        hours=learned.hours,
    )
