"""Reach: what this pad can do for this vessel, before the beer has shown it.

From the energy balance of one lump: the pad's watts over the loss per kelvin is how far above the
garage it can hold the beer. It raises nothing; an alarm and the page read it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.thermal.model import Vessel

ARRIVED_K = 0.2  # Why: three steps of a DS18B20; nearer than that nobody waits.
# Why: what cannot be done within two months is not done in this batch.
HOURS_MAX = 1500.0


@dataclass(frozen=True, slots=True)
class Reach:
    """What the pad can do. Every field is None when something it needs is not known.

    Args:
        garage_c: the coldest garage in which the target can be held by the pad alone, °C.
        garage_sd_k: standard deviation of it, K.
        beer_c: the warmest the pad alone can hold the beer in the coldest garage of the last day.
        hours_to_target: hours until the beer has warmed to the target; 0 when it is there.
        spare_w: watts the pad has beyond what holding the target takes now, with the ferment's
            help as far as it is sure; below 0 it lacks so many.
        loss_w_per_k_max: the loss at which the pad would just hold the target now.
        highest_c: the temperature it can just hold now.
    """

    garage_c: float | None = None
    garage_sd_k: float | None = None
    beer_c: float | None = None
    hours_to_target: float | None = None
    spare_w: float | None = None
    loss_w_per_k_max: float | None = None
    highest_c: float | None = None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the pad works against.

    Args:
        beer_c: the beer; None when not trusted.
        target_c: the target; None without one.
        garage_c: the garage, smoothed; None when it was never known.
        coldest_c: the coldest it was in the last day or so; None when it was never known.
        ferment_w: the ferment's heat that is sure, W, 0 or more.
        share_sd: standard deviation of the logarithm of loss over pad.
    """

    beer_c: float | None
    target_c: float | None
    garage_c: float | None
    coldest_c: float | None
    ferment_w: float = 0.0
    share_sd: float = 0.0


def reach(vessel: Vessel, around: Surroundings) -> Reach:
    """What this vessel's pad can do there."""
    lift_k = vessel.pad_w / vessel.loss_w_per_k
    target_c, garage_c, coldest_c = around.target_c, around.garage_c, around.coldest_c
    beer_c = None if coldest_c is None else coldest_c + lift_k
    if target_c is None:
        return Reach(beer_c=beer_c)
    lowest_c, sd_k = target_c - lift_k, lift_k * around.share_sd
    if garage_c is None:
        return Reach(lowest_c, sd_k)
    above_k = target_c - garage_c
    given_w = vessel.pad_w + around.ferment_w
    return Reach(
        lowest_c,
        sd_k,
        beer_c,
        _hours(vessel, around, garage_c + given_w / vessel.loss_w_per_k),
        given_w - vessel.loss_w_per_k * above_k,
        given_w / above_k if above_k > 0.0 else None,
        garage_c + given_w / vessel.loss_w_per_k,
    )


def _hours(vessel: Vessel, around: Surroundings, end_c: float) -> float | None:
    """Hours of full heat until the target, on the way to `end_c`; None when it is not reached.

    Source: the step response of one lump, T(t) = end + (beer - end) exp(-t loss / capacity).
    """
    beer_c, target_c = around.beer_c, around.target_c
    if beer_c is None or target_c is None:
        return None
    if beer_c >= target_c - ARRIVED_K:
        return 0.0 if beer_c <= target_c + ARRIVED_K else None
    if end_c <= target_c:
        return None
    lag_s = vessel.capacity_j_per_k / vessel.loss_w_per_k
    hours = (lag_s * math.log((end_c - beer_c) / (end_c - target_c)) + vessel.delay_s) / 3600.0
    return hours if hours <= HOURS_MAX else None
