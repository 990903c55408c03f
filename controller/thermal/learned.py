"""Learned: what the bank believes, in watts, and back; and the vessels that follow from it.

The bank thinks in shares of the pad, because that is all a thermometer shows. Watts need a scale:
the pad's rating and the capacity by volume both give one, and where they disagree each takes the
blame by its variance. What is steered by moves gently; what faults are judged by gets tighter
bounds, never looser ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from controller.thermal import bank
from controller.thermal.bank import Belief, Ground, Stretch
from controller.thermal.heat import ferment_heat
from controller.thermal.model import Vessel

SMOOTH_S = 60.0  # Why: takes the steps out of the beer's reading and lags a tenth of a stretch.
EASE = 0.02  # Why: a step of 2 % in the known need moves the beer by a hundredth of a kelvin.
# Why: what no stretch can show: the pad's own leak to the outside, the probe's offset in the air.
SYSTEMATIC_SD = 0.02
SHARE_SD_LEAST = 0.02  # Why: a restart must not make anything surer than it was.
# Why: rise is pad over capacity; where it is off, each takes the blame by its variance, and what
# is left of both uncertainties is the scale's.
PAD_PART = bank.PAD_SD**2 / bank.RISE_SD**2
SCALE_SD = bank.PAD_SD * bank.CAPACITY_SD / bank.RISE_SD
PAD_LOW, PAD_HIGH = bank.RISE_LOW**PAD_PART, bank.RISE_HIGH**PAD_PART
DELAY_SD_TOLD_S = 100.0  # Why: a tick does not say it; a day of running leaves about so much.
SOUND_HOURS_MIN = 12.0  # Why: half a day has seen a good part of the garage's swing.
SOUND_SDS = 3.0  # Why: once in three hundred; a false trip leaves the beer to cool.
# Why: a jacket held open for the dry hops must not look like a pad that fails.
OPEN_JACKET = 2.0
# Why: nor a blanket thrown over it like a relay that sticks.
BLANKET = 0.8


@dataclass(frozen=True, slots=True)
class Learned:
    """What has been learned, in watts. `_sd` are standard deviations.

    Args:
        loss_w_per_k: heat lost per kelvin warmer than the garage; as described without its probe.
        loss_sd_w_per_k: of it.
        pad_w: heat the pad gives the beer when it is on.
        pad_sd_w: of it.
        capacity_j_per_k: heat to warm it by one kelvin.
        delay_s: how late the pad's heat shows at the probe.
        delay_sd_s: of it.
        ferment_w: the ferment's own heat, 0 or more; None when it cannot be told.
        ferment_sd_w: of it.
        hold_w: heat the beer needs beyond its own to stay as warm as it is.
        hours: how long was learned from.
    """

    loss_w_per_k: float
    loss_sd_w_per_k: float
    pad_w: float
    pad_sd_w: float
    capacity_j_per_k: float
    delay_s: float
    delay_sd_s: float
    ferment_w: float | None
    ferment_sd_w: float | None
    hold_w: float
    hours: float

    @property
    def share_sd(self) -> float:
        """Standard deviation of the logarithm of loss over pad, in which the scale cancels."""
        loss_variance = (self.loss_sd_w_per_k / self.loss_w_per_k) ** 2
        pad_variance = (self.pad_sd_w / self.pad_w) ** 2
        return math.sqrt(max(loss_variance - pad_variance - SYSTEMATIC_SD**2, SHARE_SD_LEAST**2))


@dataclass(frozen=True, slots=True)
class Course:
    """A vessel as described, and what follows from the description for learning; made once."""

    vessel: Vessel
    ground: Ground

    @classmethod
    def of(cls, vessel: Vessel) -> Course:
        """The course for a vessel as described."""
        return cls(vessel, bank.ground_of(vessel))


def in_watts(course: Course, belief: Belief, stretch: Stretch, hours: float) -> Learned:
    """What is believed, in watts: the pad's rating and the capacity by volume share the scale."""
    vessel = course.vessel
    pad_w = vessel.pad_w * (belief.rise / vessel.rise_k_per_s) ** PAD_PART
    moved, scale_sd = (PAD_PART * belief.rise_sd) ** 2, _scale_sd(vessel, belief.rise)
    share_variance = belief.share_sd**2 + 2.0 * PAD_PART * belief.together
    loss_w_per_k = belief.share_per_k * pad_w
    loss_sd = math.sqrt(max(share_variance + moved, 0.0) + scale_sd**2 + SYSTEMATIC_SD**2)
    loss_w = loss_w_per_k * stretch.warmth_k_s / stretch.span_s
    heat = ferment_heat(belief.ferment * pad_w, belief.ferment_sd * pad_w, loss_w)
    if stretch.is_blind:
        loss_w_per_k, loss_sd = vessel.loss_w_per_k, bank.SHARE_SD
    return Learned(
        loss_w_per_k,
        loss_sd * loss_w_per_k,
        pad_w,
        math.sqrt(moved + scale_sd**2) * pad_w,
        pad_w / belief.rise,
        belief.delay_s - SMOOTH_S,
        belief.delay_sd_s,
        None if stretch.is_blind else heat.ferment_w,
        None if stretch.is_blind else heat.ferment_sd_w,
        loss_w - belief.ferment * pad_w,
        hours,
    )


def _scale_sd(vessel: Vessel, rise: float) -> float:
    """How sure the scale of the watts is: less so, the more pad and volume contradict each other.

    Source: R. T. Birge, Phys. Rev. 40 (1932) 207-227: where two results differ by more than their
    errors, the errors are widened until they do not (from memory).
    """
    return SCALE_SD * max(1.0, abs(math.log(rise / vessel.rise_k_per_s)) / bank.RISE_SD)


def remembered(
    vessel: Vessel,
    loss: tuple[float, float],
    pad: tuple[float, float],
    delay_s: float,
    ferment: tuple[float | None, float | None],
    hours: float,
) -> Learned:
    """What an earlier life had learned, from what it told; within the bounds of this vessel.

    Args:
        vessel: as described.
        loss: W/K and its standard deviation.
        pad: W and its standard deviation.
        delay_s: how late the pad's heat shows.
        ferment: W and its standard deviation; None for each when it could not be told.
        hours: how long was learned from.
    """
    pad_w = _between(pad[0], PAD_LOW * vessel.pad_w, PAD_HIGH * vessel.pad_w)
    described = vessel.loss_w_per_k / vessel.pad_w
    share = _between(loss[0] / pad_w, bank.SHARE_LOW * described, bank.SHARE_HIGH * described)
    rise = vessel.rise_k_per_s * (pad_w / vessel.pad_w) ** (1.0 / PAD_PART)
    loss_w_per_k = share * pad_w
    hold_w = 0.0  # Why: it is known again after the first stretch, and nothing is steered by it.
    return Learned(
        loss_w_per_k,
        max(loss[1], SYSTEMATIC_SD * loss_w_per_k),
        pad_w,
        max(pad[1], SCALE_SD * pad_w),
        pad_w / rise,
        _between(delay_s, bank.DELAY_S_LOW - SMOOTH_S, bank.DELAY_S_HIGH),
        DELAY_SD_TOLD_S,
        ferment[0],
        ferment[1],
        hold_w,
        max(hours, 0.0),
    )


def _between(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def belief_of(course: Course, learned: Learned) -> Belief:
    """What an earlier life had learned, as the bank believes it."""
    vessel = course.vessel
    rise = learned.pad_w / learned.capacity_j_per_k
    pad_variance = (learned.pad_sd_w / learned.pad_w) ** 2
    start = bank.described(vessel)
    ferment_w, ferment_sd_w = learned.ferment_w, learned.ferment_sd_w
    return Belief(
        learned.loss_w_per_k / learned.pad_w,
        learned.share_sd,
        rise,
        math.sqrt(max(pad_variance - _scale_sd(vessel, rise) ** 2, 0.0)) / PAD_PART,
        0.0,
        learned.delay_s + SMOOTH_S,
        learned.delay_sd_s,
        start.ferment if ferment_w is None else ferment_w / learned.pad_w,
        start.ferment_sd if ferment_sd_w is None else ferment_sd_w / learned.pad_w,
    )


def eased(prior: Vessel, before: Vessel, learned: Learned) -> Vessel:
    """The vessel a little nearer to what has been learned."""
    return replace(
        prior,
        capacity_j_per_k=_nearer(before.capacity_j_per_k, learned.capacity_j_per_k),
        loss_w_per_k=_nearer(before.loss_w_per_k, learned.loss_w_per_k),
        pad_w=_nearer(before.pad_w, learned.pad_w),
        delay_s=_nearer(before.delay_s, learned.delay_s),
    )


def _nearer(before: float, learned: float) -> float:
    return _between(learned, before * (1.0 - EASE), before * (1.0 + EASE))


def sound(prior: Vessel, learned: Learned | None) -> Vessel:
    """The vessel by which switching is judged: bounds narrowed by what was learned, never widened.

    The pad keeps its rated watts and the beer its described capacity, so that nothing learned can
    make a fault take longer to find.
    """
    if learned is None or learned.hours < SOUND_HOURS_MIN or learned.ferment_w is None:
        return prior
    spread = SOUND_SDS * learned.loss_sd_w_per_k
    return replace(
        prior,
        loss_low_w_per_k=_within(prior, BLANKET * learned.loss_w_per_k - spread),
        loss_high_w_per_k=_within(prior, OPEN_JACKET * learned.loss_w_per_k + spread),
    )


def _within(prior: Vessel, loss_w_per_k: float) -> float:
    return _between(loss_w_per_k, prior.loss_low_w_per_k, prior.loss_high_w_per_k)
