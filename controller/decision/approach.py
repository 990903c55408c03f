"""Approach: where the beer will be once the heat on its way has arrived. Part of the regulator.

Pure reckoning with the vessel's numbers: the coast, the duty that will hold it after landing, and
how long the way may take. It decides nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.decision.vocabulary import Evidence
from controller.thermal.model import Vessel

# Why: the trend covers ten minutes, and tells the coast only once the pad's own delay is behind it.
RUN_UP_S_MIN = 1800.0
# Why: before anything is learned, the slope misjudges the hold duty by the error in pad and volume
# and the garage by that in the jacket and the ferment; they are independent and about as large.
SLOPE_TRUST = 0.5
APPROACH_SLACK = 1.5  # Why: the arrival is late when it takes half as long again as computed.


GARAGE_FILTER_S = 1200.0  # Why: the jacket delays the garage by about as long.
PAD_RISE_FADES_S = 300.0  # Why: the next run of the relay comes within minutes and shows it again.


@dataclass(frozen=True, slots=True)
class Felt:
    """What has been felt and has flowed, up to one instant.

    Args:
        on_way_s: heat given that has not shown yet, in seconds of the full pad.
        garage_c: the garage's temperature, filtered; kept when its probe fails.
        pad_c: the pad's temperature; None without a trusted reading.
        pad_k_per_s: how fast the pad rises when it is on: the fastest seen lately.
        dt_s: time since the look before; 0 at the first.
        mono_s: the instant; endlessly long ago before the first.
    """

    on_way_s: float = 0.0
    garage_c: float | None = None
    pad_c: float | None = None
    pad_k_per_s: float = 0.0
    dt_s: float = 0.0
    mono_s: float = -math.inf


@dataclass(frozen=True, slots=True)
class Aim:
    """What one tick's regulation looks at.

    Args:
        beer_c: the beer now.
        slope_k_per_s: its trend; None until there is one.
        setpoint_c: where it should be.
        target_slope_k_per_s: how fast that moves.
        garage_c: the garage, filtered; None when it was never known.
        hold_duty: the share of the pad that the loss takes at the set point; None likewise.
        on_way_s: heat that has not shown yet, in seconds of the full pad.
        integral: the integral part so far.
        dt_s: time since the last look; 0 at the first.
    """

    beer_c: float
    slope_k_per_s: float | None
    setpoint_c: float
    target_slope_k_per_s: float
    garage_c: float | None
    hold_duty: float | None
    on_way_s: float
    integral: float
    dt_s: float

    @property
    def error_k(self) -> float:
        """How far below its set point the beer is."""
        return self.setpoint_c - self.beer_c


def felt_since(vessel: Vessel, before: Felt, evidence: Evidence, heat: bool, mono_s: float) -> Felt:
    """What is felt now, and how much heat is on its way: it arrives like a first-order lag.

    `heat` says whether the pad was on since the look before.
    """
    dt_s = 0.0 if before.mono_s == -math.inf else max(0.0, mono_s - before.mono_s)
    garage_c, now_c, pad_c = before.garage_c, evidence.garage.value_c, evidence.pad.value_c
    if garage_c is None:
        garage_c = now_c
    elif now_c is not None:
        garage_c += (now_c - garage_c) * min(1.0, dt_s / GARAGE_FILTER_S)
    pad_k_per_s = before.pad_k_per_s * max(0.0, 1.0 - dt_s / PAD_RISE_FADES_S)
    if pad_c is not None and before.pad_c is not None and dt_s > 0.0:
        pad_k_per_s = max(pad_k_per_s, (pad_c - before.pad_c) / dt_s)
    full_s = vessel.delay_s if heat else 0.0
    on_way_s = before.on_way_s + (full_s - before.on_way_s) * min(1.0, dt_s / vessel.delay_s)
    return Felt(on_way_s, garage_c, pad_c, pad_k_per_s, dt_s, mono_s)


def known_need(vessel: Vessel, aim: Aim) -> float:
    """Feed-forward: the share of the pad that the garage and a ramp are known to need."""
    return (aim.hold_duty or 0.0) + aim.target_slope_k_per_s / vessel.rise_k_per_s


def coast_k(vessel: Vessel, aim: Aim) -> float:
    """How much further the beer will go, against what it needs, by heat given but not yet shown.

    0 when as much is on its way as the need takes meanwhile.
    """
    need = min(1.0, max(0.0, known_need(vessel, aim) + aim.integral))
    return vessel.rise_k_per_s * (aim.on_way_s - vessel.delay_s * need)


def landing_k(vessel: Vessel, aim: Aim, heated_s: float) -> float:
    """How much further the beer will go after full heat of `heated_s` seconds is cut."""
    if aim.slope_k_per_s is None or heated_s < RUN_UP_S_MIN:
        return coast_k(vessel, aim)
    return (aim.slope_k_per_s - aim.target_slope_k_per_s) * vessel.delay_s


def landed(vessel: Vessel, aim: Aim, heated_s: float, known: float) -> float:
    """The integral to begin holding with.

    What the slope under heat leaves unused measures the loss and the ferment's own heat together,
    and needs no garage probe.

    Args:
        vessel: what is reckoned with.
        aim: the tick of the landing.
        heated_s: how long the approach has lasted.
        known: how well the integral is known from holding before, 0 to 1.
    """
    if aim.slope_k_per_s is None or heated_s < RUN_UP_S_MIN:
        return aim.integral
    given = aim.on_way_s / vessel.delay_s
    seen = given - aim.slope_k_per_s / vessel.rise_k_per_s
    hold = min(1.0, max(0.0, seen)) - (aim.hold_duty or 0.0)
    trust = 1.0 if aim.hold_duty is None else SLOPE_TRUST
    return aim.integral + trust * (1.0 - known) * (hold - aim.integral)


def approach_s(vessel: Vessel, aim: Aim) -> float:
    """The longest the approach should take, by the energy balance; infinite when it cannot end."""
    middle_c = (aim.beer_c + aim.setpoint_c) / 2.0
    loss_w = 0.0 if aim.garage_c is None else vessel.loss_w_per_k * (middle_c - aim.garage_c)
    spare_w = vessel.pad_w - loss_w
    if spare_w <= 0.0:
        return math.inf
    return APPROACH_SLACK * (aim.error_k * vessel.capacity_j_per_k / spare_w + vessel.delay_s)
