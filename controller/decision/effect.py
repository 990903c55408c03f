"""Effect: whether switching does what it should. (Second stage.)

Control never judges itself, so this stage watches from the side: it compares the trend of the beer
with the least and the most that a sound vessel could do under what the relays really did, and sums
the disagreement in kelvin. It decides nothing about relays; the interlocks act on what it finds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.decision.vocabulary import Applied, Evidence, Finding, Moment
from controller.thermal.model import (
    CAPACITY_HIGH_SHARE,
    CAPACITY_LOW_SHARE,
    Vessel,
)

# Why: eight steps of a DS18B20; less could be its noise, more would tell too late.
MISSING_RISE_K = 0.5
# Why: the coast of a well-pressed pad is 0.05 to 0.4 K and is in the model; 0.3 K more is not.
EXCESS_RISE_K = 0.3
# Why: a litre of cold water makes the beer fall once; a dead pad goes on falling.
SECOND_LOOK_S = 7200.0
# Why: beer never falls this fast (5 K/h with a strong fan, 8 K/h bare); a probe in cold air does.
FALL_K_IN_5_MIN = 3.0
# Why: the coldest garage worth assuming when no probe measures it.
GARAGE_C_ASSUMED_LOW = -15.0
# Why: a fan cools in ways the model has no exact number for, and a probe that was out of its well
# needs half an hour to tell of the beer again.
SHADOW_S = 1800.0
# Why: between the lag of a well-pressed pad (150 to 250 s) and of a bad one (up to 1300 s); what it
# misses of a bad one is within the half kelvin allowed.
PAD_LAG_S = 600.0
FAN_LOW_SHARE = 0.3  # Why: a fan half blocked by a coat still carries this much of its rating.
TICK_GAP_S_MAX = 60.0  # Why: over a longer gap nobody knows what the relays did.
OFF_SHARE = 0.1  # Why: below it the pad has been as good as off.


@dataclass(frozen=True, slots=True)
class EffectMemory:
    """Running sums.

    Args:
        duty_lagged: what the pad gives the beer now, as a share, behind by its lag.
        missing_k: how far the rise has stayed behind the least it could be.
        excess_k: how far it has gone beyond the most it could be.
        suspected_mono_s: when `missing_k` last ran over; None when it has not.
        fan_mono_s: when the fan last ran; None when it has not.
        moved_mono_s: when the probe last read what no beer can do; None when it has not.
        last_mono_s: when this stage last looked; None before its first look.
    """

    duty_lagged: float = 0.0
    missing_k: float = 0.0
    excess_k: float = 0.0
    suspected_mono_s: float | None = None
    fan_mono_s: float | None = None
    moved_mono_s: float | None = None
    last_mono_s: float | None = None


def watch(
    vessel: Vessel, memory: EffectMemory, evidence: Evidence, applied: Applied, now: Moment
) -> tuple[EffectMemory, tuple[Finding, ...]]:
    """What has been seen of the relays' effect, given what they really did since the last tick."""
    dt_s = 0.0 if memory.last_mono_s is None else now.mono_s - memory.last_mono_s
    if not 0.0 < dt_s <= TICK_GAP_S_MAX:
        return EffectMemory(
            fan_mono_s=memory.fan_mono_s, moved_mono_s=memory.moved_mono_s, last_mono_s=now.mono_s
        ), ()
    duty = memory.duty_lagged + (float(applied.heat) - memory.duty_lagged) * dt_s / PAD_LAG_S
    memory = EffectMemory(
        duty_lagged=duty,
        missing_k=memory.missing_k,
        excess_k=memory.excess_k,
        suspected_mono_s=memory.suspected_mono_s,
        fan_mono_s=now.mono_s if applied.fan else memory.fan_mono_s,
        moved_mono_s=memory.moved_mono_s,
        last_mono_s=now.mono_s,
    )
    return _compare(vessel, memory, evidence, applied, dt_s)


def _compare(
    vessel: Vessel, memory: EffectMemory, evidence: Evidence, applied: Applied, dt_s: float
) -> tuple[EffectMemory, tuple[Finding, ...]]:
    beer = evidence.beer
    if beer.value_c is not None and abs(beer.change_k) > FALL_K_IN_5_MIN:
        found = (Finding.FALL_TOO_FAST,) if beer.change_k < 0.0 else ()
        return replace(_rested(memory), moved_mono_s=memory.last_mono_s), found
    is_shaded = _is_within_shadow(memory, memory.moved_mono_s)
    if beer.value_c is None or beer.slope_k_per_s is None or is_shaded:
        return _rested(memory), ()
    duty, garage_c = memory.duty_lagged, evidence.garage.value_c
    least, most = _sane_slopes(vessel, duty, beer.value_c, garage_c, applied.fan)
    fastest = 2.0 * vessel.rise_k_per_s  # Why: one step of the probe must not look like an hour.
    slope = min(max(beer.slope_k_per_s, -fastest), fastest)
    memory, too_warm = _excess(memory, (slope - most) * dt_s)
    if duty < OFF_SHARE or _is_within_shadow(memory, memory.fan_mono_s):
        return replace(memory, missing_k=0.0), too_warm
    memory, too_cold = _missing(memory, (least - slope) * dt_s)
    return memory, too_warm + too_cold


def _rested(memory: EffectMemory) -> EffectMemory:
    return replace(memory, missing_k=0.0, excess_k=0.0, suspected_mono_s=None)


def _excess(memory: EffectMemory, excess_k: float) -> tuple[EffectMemory, tuple[Finding, ...]]:
    """Sums what the beer rose beyond the most it could."""
    excess_k = max(0.0, memory.excess_k + excess_k)
    if excess_k == memory.excess_k:
        return memory, ()
    if excess_k <= EXCESS_RISE_K:
        return replace(memory, excess_k=excess_k), ()
    is_off = memory.duty_lagged < OFF_SHARE
    found = Finding.HEAT_WHILE_OFF if is_off else Finding.RISE_TOO_FAST
    return replace(memory, excess_k=0.0), (found,)


def _missing(memory: EffectMemory, shortfall_k: float) -> tuple[EffectMemory, tuple[Finding, ...]]:
    """Sums the shortfall; it counts when it runs over twice within the second look."""
    missing_k = max(0.0, memory.missing_k + shortfall_k)
    if missing_k == memory.missing_k:
        return memory, ()
    if missing_k <= MISSING_RISE_K:
        return replace(memory, missing_k=missing_k), ()
    now_s, first_s = memory.last_mono_s, memory.suspected_mono_s
    assert now_s is not None
    again = first_s is not None and now_s - first_s <= SECOND_LOOK_S
    found = (Finding.HEAT_WITHOUT_EFFECT,) if again else ()
    return replace(memory, missing_k=0.0, suspected_mono_s=now_s), found


def _sane_slopes(
    vessel: Vessel, duty: float, beer_c: float, garage_c: float | None, fan: bool
) -> tuple[float, float]:
    """The least and the most the beer's slope can be in a sound vessel, in K/s."""
    coldest_c = GARAGE_C_ASSUMED_LOW if garage_c is None else garage_c
    warmest_c = beer_c if garage_c is None else garage_c
    heat_w = vessel.pad_w * duty
    loss_most_w = max(vessel.loss_high_w_per_k * (beer_c - coldest_c), 0.0)
    loss_least_w = min(
        vessel.loss_low_w_per_k * (beer_c - warmest_c),
        vessel.loss_high_w_per_k * (beer_c - warmest_c),
    )
    if fan:
        loss_least_w += FAN_LOW_SHARE * vessel.fan_w_per_k * max(beer_c - warmest_c, 0.0)
    least_w, most_w = heat_w - loss_most_w, heat_w + vessel.ferment_w_max - loss_least_w
    # Why: a great capacity rises least, but it is the small one that falls fastest.
    least_share = CAPACITY_HIGH_SHARE if least_w > 0.0 else CAPACITY_LOW_SHARE
    most_share = CAPACITY_LOW_SHARE if most_w > 0.0 else CAPACITY_HIGH_SHARE
    capacity = vessel.capacity_j_per_k
    return least_w / (least_share * capacity), most_w / (most_share * capacity)


def _is_within_shadow(memory: EffectMemory, then_s: float | None) -> bool:
    now_s = memory.last_mono_s
    return then_s is not None and now_s is not None and now_s - then_s < SHADOW_S
