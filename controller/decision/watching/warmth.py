"""Warmth: whether the beer warms and cools as a sound vessel must. (Part of the effect stage.)

It compares the trend of the beer with the least and the most a sound vessel could do under what the
relays really did, and sums the disagreement in kelvin. Where the balance of this very vessel
(`balance.py`) agrees, less of it is enough. It decides nothing about relays.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Finding, Sensed
from controller.decision.watching.balance import SURPLUS_K, Balance, balanced
from controller.decision.watching.look import Look, is_within
from controller.thermal.model import CAPACITY_HIGH_SHARE, CAPACITY_LOW_SHARE

# Why: three steps and a half of a DS18B20; less could be its noise, more would tell too late.
MISSING_RISE_K = 0.22
MISSING_AGAIN_K = 0.07  # Why: what has been suspected once need only go on; a step and a bit.
# Why: the coast of a well-pressed pad is 0.05 to 0.4 K and is in the model; 0.24 K more is not.
EXCESS_RISE_K = 0.24
# Why: when the balance of this very vessel agrees, any excess is enough.
EXCESS_AGREED_K = 0.02
# Why: a litre of cold water makes the beer fall once; a dead pad goes on falling.
SECOND_LOOK_S = 7200.0
# Why: the trend looks ten minutes back, so for as long it goes on telling of the same fall.
FIRST_LOOK_S = 600.0
# Why: beer never falls this fast (5 K/h with a strong fan, 8 K/h bare); a probe in cold air does.
FALL_K_IN_5_MIN = 3.0
# Why: a probe that has slid onto the pad shows it by falling as soon as the pad has been off for
# some minutes; one put back into its well, or hot wort, does not.
LEAP_S = 600.0
# Why: the coldest garage worth assuming when no probe measures it.
GARAGE_C_ASSUMED_LOW = -15.0
# Why: a fan cools in ways the model has no exact number for, and a probe that was out of its well
# needs half an hour to tell of the beer again.
SHADOW_S = 1800.0
# Why: between the lag of a well-pressed pad (150 to 250 s) and of a bad one (up to 1300 s); what it
# misses of a bad one is within the half kelvin allowed.
PAD_LAG_S = 600.0
FAN_LOW_SHARE = 0.3  # Why: a fan half blocked by a coat still carries this much of its rating.
FAN_PROOF_S = 1800.0  # Why: the beer answers to a fan within half an hour.
OFF_SHARE = 0.1  # Why: below it the pad has been as good as off.
OFF_S = 300.0  # Why: the heat of the last minutes before is still on its way to the probe.
STEP_SHARE = 2.0  # Why: a step of the probe must not look like an hour of twice the pad.
HASTE_SHARE = 4.0  # Why: a nearly empty vessel warms at many times the pad's rate.
HASTE_K = 0.5  # Why: so much beyond the most possible is no step of the probe, whatever its slope.


@dataclass(frozen=True, slots=True)
class Seen:
    """What was felt and done up to this tick.

    Args:
        beer_c: what the probe said last.
        duty_lagged: what the pad gives the beer now, as a share, behind by its lag.
        off_s: for how long the heat has been off.
        fan_s: for how long the fan has been on.
        fan_mono_s: when the fan last ran; None when it has not.
    """

    beer_c: float | None = None
    duty_lagged: float = 0.0
    off_s: float = 0.0
    fan_s: float = 0.0
    fan_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class Shortfall:
    """`missing_k` is how far the rise has stayed behind the least it could be;
    `suspected_mono_s` when that last ran over, None when it has not.
    """

    missing_k: float = 0.0
    suspected_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class Excess:
    """How far the rise has gone beyond the most it could be: `hasty_k` with a hasty slope
    believed, `uncooled_k` while the fan runs.
    """

    rise_k: float = 0.0
    hasty_k: float = 0.0
    uncooled_k: float = 0.0


@dataclass(frozen=True, slots=True)
class WarmthMemory:
    """What is remembered of the beer's trend.

    Args:
        seen: what was felt and done.
        shortfall: against the least of a sound vessel.
        excess: against the most.
        balance: of this very vessel.
        moved_mono_s: when the probe last read what no beer can do; None when it has not.
        leapt: whether that was upwards.
    """

    seen: Seen = Seen()
    shortfall: Shortfall = Shortfall()
    excess: Excess = Excess()
    balance: Balance = Balance()
    moved_mono_s: float | None = None
    leapt: bool = False


_NO_SHORTFALL = Shortfall()
_NO_EXCESS = Excess()
_NOTHING: tuple[Finding, ...] = ()


def after_a_gap(memory: WarmthMemory) -> WarmthMemory:
    """What is still known when nobody knows what the relays did meanwhile."""
    seen = Seen(fan_mono_s=memory.seen.fan_mono_s)
    return WarmthMemory(seen=seen, moved_mono_s=memory.moved_mono_s, leapt=memory.leapt)


def watch(memory: WarmthMemory, look: Look) -> tuple[WarmthMemory, tuple[Finding, ...]]:
    """What the beer's trend says of the heat and the fan."""
    beer, now_s = look.evidence.beer, look.now_s
    moved_k = _moved_k(memory.seen, beer)
    seen, rested = _seen(memory.seen, look), memory.balance.rested()
    if abs(moved_k) > FALL_K_IN_5_MIN:
        leapt = moved_k > 0.0
        found = Finding.BEER_LEAPT if leapt else Finding.FALL_TOO_FAST
        return WarmthMemory(seen, _NO_SHORTFALL, _NO_EXCESS, rested, now_s, leapt), (found,)
    moved = (memory.moved_mono_s, memory.leapt)
    is_shaded = is_within(SHADOW_S, now_s, memory.moved_mono_s)
    if beer.value_c is None or beer.slope_k_per_s is None or is_shaded:
        waits = memory.leapt and is_within(LEAP_S, now_s, memory.moved_mono_s)
        found_leap = (Finding.BEER_LEAPT,) if waits and beer.value_c is not None else ()
        return WarmthMemory(seen, _NO_SHORTFALL, _NO_EXCESS, rested, *moved), found_leap
    slope = beer.slope_k_per_s
    least, most = sane_slopes(look, seen.duty_lagged, beer.value_c)
    is_fanned = is_within(SHADOW_S, now_s, seen.fan_mono_s)
    balance, short = balanced(memory.balance, look, seen.duty_lagged, slope, is_fanned)
    excess, warm = _too_warm(memory.excess, look, seen, slope - most, balance.surplus_k)
    shortfall, cold = Shortfall(suspected_mono_s=memory.shortfall.suspected_mono_s), _NOTHING
    if seen.duty_lagged >= OFF_SHARE and not is_fanned:
        behind = least - _clipped(slope, STEP_SHARE * look.vessel.rise_k_per_s)
        shortfall, cold = _too_cold(memory.shortfall, behind * look.dt_s, now_s)
    found_all = (*short, *warm, *cold)
    return WarmthMemory(seen, shortfall, excess, balance, *moved), found_all


def _moved_k(seen: Seen, beer: Sensed) -> float:
    """How far the reading has moved in five minutes, or at once, in K; 0 when it is not known."""
    if beer.value_c is None:
        return 0.0
    at_once_k = 0.0 if seen.beer_c is None else beer.value_c - seen.beer_c
    return beer.change_k if abs(beer.change_k) >= abs(at_once_k) else at_once_k


def _seen(seen: Seen, look: Look) -> Seen:
    applied, dt_s = look.applied, look.dt_s
    return Seen(
        look.evidence.beer.value_c,
        seen.duty_lagged + (float(applied.heat) - seen.duty_lagged) * dt_s / PAD_LAG_S,
        0.0 if applied.heat else seen.off_s + dt_s,
        seen.fan_s + dt_s if applied.fan else 0.0,
        look.now_s if applied.fan else seen.fan_mono_s,
    )


def _clipped(slope: float, fastest: float) -> float:
    return min(max(slope, -fastest), fastest)


def _too_warm(
    excess: Excess, look: Look, seen: Seen, beyond: float, surplus_k: float
) -> tuple[Excess, tuple[Finding, ...]]:
    """Sums what the beer rose beyond the most it could, by `beyond` K/s.

    While the fan runs it is the fan that does not cool; else there is heat nobody switched on.
    """
    dt_s = look.dt_s
    if look.applied.fan:
        if seen.fan_s < FAN_PROOF_S:
            return _NO_EXCESS, ()
        uncooled_k = min(max(0.0, excess.uncooled_k + beyond * dt_s), 2.0 * EXCESS_RISE_K)
        found = uncooled_k > EXCESS_RISE_K
        return Excess(uncooled_k=uncooled_k), (Finding.FAN_WITHOUT_EFFECT,) if found else ()
    if beyond <= 0.0 and excess is _NO_EXCESS:
        return excess, ()
    rise = look.vessel.rise_k_per_s
    rise_k = max(0.0, excess.rise_k + min(beyond, STEP_SHARE * rise) * dt_s)
    hasty_k = max(0.0, excess.hasty_k + min(beyond, HASTE_SHARE * rise) * dt_s)
    is_agreed = surplus_k > SURPLUS_K and rise_k > EXCESS_AGREED_K
    if rise_k <= EXCESS_RISE_K and hasty_k <= HASTE_K and not is_agreed:
        return (Excess(rise_k, hasty_k) if rise_k or hasty_k else _NO_EXCESS), ()
    is_off = seen.off_s >= OFF_S
    return _NO_EXCESS, (Finding.HEAT_WHILE_OFF if is_off else Finding.RISE_TOO_FAST,)


def _too_cold(
    before: Shortfall, behind_k: float, now_s: float
) -> tuple[Shortfall, tuple[Finding, ...]]:
    """Sums the shortfall; it counts when it runs over twice within the second look."""
    if is_within(FIRST_LOOK_S, now_s, before.suspected_mono_s):
        return before, ()
    missing_k = max(0.0, before.missing_k + behind_k)
    if missing_k == before.missing_k:
        return before, ()
    again = is_within(SECOND_LOOK_S, now_s, before.suspected_mono_s)
    if missing_k <= (MISSING_AGAIN_K if again else MISSING_RISE_K):
        return Shortfall(missing_k, before.suspected_mono_s), ()
    return Shortfall(0.0, now_s), (Finding.HEAT_WITHOUT_EFFECT,) if again else ()


def sane_slopes(look: Look, duty: float, beer_c: float) -> tuple[float, float]:
    """The least and the most the beer's slope can be in a sound vessel, in K/s."""
    vessel, garage_c = look.vessel, look.evidence.garage.value_c
    coldest_c = GARAGE_C_ASSUMED_LOW if garage_c is None else garage_c
    warmest_c = beer_c if garage_c is None else garage_c
    heat_w = vessel.pad_w * duty
    loss_most_w = max(vessel.loss_high_w_per_k * (beer_c - coldest_c), 0.0)
    loss_least_w = min(
        vessel.loss_low_w_per_k * (beer_c - warmest_c),
        vessel.loss_high_w_per_k * (beer_c - warmest_c),
    )
    if look.applied.fan:
        loss_least_w += FAN_LOW_SHARE * vessel.fan_w_per_k * max(beer_c - warmest_c, 0.0)
    least_w, most_w = heat_w - loss_most_w, heat_w + vessel.ferment_w_max - loss_least_w
    # Why: a great capacity rises least, but it is the small one that falls fastest.
    least_share = CAPACITY_HIGH_SHARE if least_w > 0.0 else CAPACITY_LOW_SHARE
    most_share = CAPACITY_LOW_SHARE if most_w > 0.0 else CAPACITY_HIGH_SHARE
    capacity = vessel.capacity_j_per_k
    return least_w / (least_share * capacity), most_w / (most_share * capacity)
