"""Regulator: how much heat or fan the beer needs. (Fifth stage.)

Far below its target the beer gets everything until the heat already on its way will carry it there;
near it, a proportional-integral rule works on top of what the garage and a ramp are known to need.
It knows the relays' permits only to stop integrating what is forbidden, and forbids nothing itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from simple_pid import PID

from controller.decision.vocabulary import Evidence, Moment, Permit, Permits, Target
from controller.thermal.model import Vessel
from controller.thermal.tune import Tuning

# Why: within it the proportional rule is not yet saturated; the reciprocal of the gain is about 1
# K.
NEAR_K = 1.5
GARAGE_FILTER_S = 1200.0  # Why: the jacket delays the garage by about as long.
FAN_DEMAND_MIN = 0.05  # Why: less cooling than this is the noise of the rule.
FAN_DIFFERENCE_K_MIN = 0.5  # Why: below it the fan's authority is not worth dividing by.
DT_S_MAX = 60.0  # Why: a longer gap is not one step of the integral.
# Why: the slope under full heat tells the hold duty only once the pad's delay is behind it.
RUN_UP_S_MIN = 1800.0
APPROACH_SLACK = 1.5  # Why: the arrival is late when it takes half as long again as computed.


@dataclass(frozen=True, slots=True)
class RegulatorPlan:
    """The vessel that is regulated, and the tuning that suits it."""

    vessel: Vessel
    tuning: Tuning


@dataclass(frozen=True, slots=True)
class RegulatorMemory:
    """What the regulator remembers.

    Args:
        phase: idle, blind, heating or holding.
        integral: the integral part, as a share of the pad's watts.
        setpoint_c: what it steered to last.
        garage_c: the garage's temperature, filtered; kept when its probe fails.
        phase_mono_s: since when the phase is what it is.
        due_mono_s: when the beer should have arrived, at the latest; infinite when it cannot.
        last_mono_s: when this stage last looked; None before its first look.
    """

    phase: str = "idle"
    integral: float = 0.0
    setpoint_c: float | None = None
    garage_c: float | None = None
    phase_mono_s: float = 0.0
    due_mono_s: float = math.inf
    last_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class Demand:
    """What the regulator asks for.

    Args:
        share: -1 (fan all the time) to +1 (pad all the time).
        setpoint_c: the temperature it steers to now; None when it steers to nothing.
        hold_duty: the share of the pad's watts that the loss to the garage takes at the set point;
            None when no garage temperature was ever known.
        is_late: the beer should have arrived by now.
    """

    share: float = 0.0
    setpoint_c: float | None = None
    hold_duty: float | None = None
    is_late: bool = False


@dataclass(frozen=True, slots=True)
class _Aim:
    """What one tick's regulation looks at."""

    beer_c: float
    slope_k_per_s: float | None
    setpoint_c: float
    target_slope_k_per_s: float
    garage_c: float | None
    hold_duty: float | None
    mono_s: float
    dt_s: float

    @property
    def error_k(self) -> float:
        return self.setpoint_c - self.beer_c


def regulate(
    plan: RegulatorPlan,
    memory: RegulatorMemory,
    evidence: Evidence,
    target: Target | None,
    permits: Permits,
    now: Moment,
) -> tuple[RegulatorMemory, Demand]:
    """How much heat or fan is needed now, and what to remember."""
    dt_s = 0.0 if memory.last_mono_s is None else now.mono_s - memory.last_mono_s
    garage_c = _filtered(memory.garage_c, evidence.garage.value_c, dt_s)
    memory = replace(memory, garage_c=garage_c, last_mono_s=now.mono_s)
    beer_c = evidence.beer.value_c
    if target is None or beer_c is None:
        return _entered(memory, "idle" if target is None else "blind", now.mono_s), Demand()
    assert math.isfinite(beer_c), beer_c
    setpoint_c = target.high_c if beer_c > target.high_c else target.low_c
    hold_duty = None if garage_c is None else plan.vessel.hold_duty(setpoint_c, garage_c)
    aim = _Aim(
        beer_c,
        evidence.beer.slope_k_per_s,
        setpoint_c,
        target.slope_k_per_s,
        garage_c,
        hold_duty,
        now.mono_s,
        dt_s,
    )
    memory = _phased(plan, memory, aim)
    if memory.phase == "heating":
        return memory, Demand(1.0, setpoint_c, hold_duty, now.mono_s > memory.due_mono_s)
    lowest = _lowest(plan.vessel, aim, target, permits)
    memory, duty = _summed(plan, memory, aim, lowest, permits)
    return memory, Demand(_share(plan.vessel, aim, duty), setpoint_c, hold_duty)


def _filtered(garage_c: float | None, value_c: float | None, dt_s: float) -> float | None:
    """The garage, smoothed; the last known one when there is no reading."""
    if value_c is None:
        return garage_c
    if garage_c is None:
        return value_c
    return garage_c + (value_c - garage_c) * min(1.0, max(0.0, dt_s) / GARAGE_FILTER_S)


def _entered(memory: RegulatorMemory, phase: str, mono_s: float) -> RegulatorMemory:
    if memory.phase == phase:
        return memory
    return replace(memory, phase=phase, phase_mono_s=mono_s, due_mono_s=math.inf)


def _phased(plan: RegulatorPlan, memory: RegulatorMemory, aim: _Aim) -> RegulatorMemory:
    """Goes into heating far below the set point, and out of it when the coast will reach it."""
    is_moved = memory.setpoint_c is None or abs(memory.setpoint_c - aim.setpoint_c) > NEAR_K
    memory = replace(memory, setpoint_c=aim.setpoint_c)
    if memory.phase != "heating":
        if aim.error_k <= NEAR_K:
            return _entered(memory, "holding", aim.mono_s)
        memory = _entered(memory, "heating", aim.mono_s)
        return replace(memory, due_mono_s=aim.mono_s + _approach_s(plan.vessel, aim))
    if is_moved:
        memory = replace(memory, due_mono_s=aim.mono_s + _approach_s(plan.vessel, aim))
    gain_k_per_s = (aim.slope_k_per_s or 0.0) - aim.target_slope_k_per_s
    if gain_k_per_s * plan.vessel.delay_s < aim.error_k:
        return memory
    integral = _landing(plan.vessel, memory, aim) - _known_need(plan.vessel, aim)
    return replace(_entered(memory, "holding", aim.mono_s), integral=integral)


def _approach_s(vessel: Vessel, aim: _Aim) -> float:
    """The longest the approach should take, by the energy balance; infinite when it cannot end."""
    middle_c = (aim.beer_c + aim.setpoint_c) / 2.0
    loss_w = 0.0 if aim.garage_c is None else vessel.loss_w_per_k * (middle_c - aim.garage_c)
    spare_w = vessel.pad_w - loss_w
    if spare_w <= 0.0:
        return math.inf
    return APPROACH_SLACK * (aim.error_k * vessel.capacity_j_per_k / spare_w + vessel.delay_s)


def _landing(vessel: Vessel, memory: RegulatorMemory, aim: _Aim) -> float:
    """The hold duty at the end of an approach: what the slope under full heat left unused.

    It measures the loss and the ferment's own heat together, and needs no garage probe.
    """
    if aim.slope_k_per_s is not None and aim.mono_s - memory.phase_mono_s >= RUN_UP_S_MIN:
        return min(1.0, max(0.0, 1.0 - aim.slope_k_per_s / vessel.rise_k_per_s))
    return memory.integral + _known_need(vessel, aim)


def _known_need(vessel: Vessel, aim: _Aim) -> float:
    """Feed-forward: the share of the pad that the garage and a ramp are known to need."""
    return (aim.hold_duty or 0.0) + aim.target_slope_k_per_s / vessel.rise_k_per_s


def _lowest(vessel: Vessel, aim: _Aim, target: Target, permits: Permits) -> float:
    """The most cooling there is, as a negative share of the pad's watts."""
    is_in_band = target.low_c < target.high_c and aim.beer_c <= target.high_c
    if permits.fan is Permit.OFF or is_in_band or aim.garage_c is None:
        return 0.0
    return -vessel.fan_w_per_k * max(0.0, aim.beer_c - aim.garage_c) / vessel.pad_w


def _summed(
    plan: RegulatorPlan, memory: RegulatorMemory, aim: _Aim, lowest: float, permits: Permits
) -> tuple[RegulatorMemory, float]:
    """The proportional-integral rule on top of the feed-forward.

    A fresh PID each tick with its integral handed over is a pure function. The integral rests when
    the beer is far off, when the output is at its stop, and when what it asks for is forbidden: a
    sum that only got clamped would need a long overshoot to come back.
    """
    base, error_k = _known_need(plan.vessel, aim), aim.error_k
    asked = base + memory.integral + plan.tuning.gain_per_k * error_k
    is_stopped = (asked >= 1.0 and error_k > 0.0) or (asked <= lowest and error_k < 0.0)
    is_vetoed = permits.heat is Permit.OFF and error_k > 0.0
    rests = is_stopped or is_vetoed or abs(error_k) > NEAR_K or not 0.0 < aim.dt_s <= DT_S_MAX
    pid = PID(
        Kp=plan.tuning.gain_per_k,
        Ki=0.0 if rests else plan.tuning.gain_per_k / plan.tuning.integral_s,
        Kd=0.0,
        setpoint=aim.setpoint_c,
        sample_time=None,
        output_limits=(min(lowest, 1.0) - base, 1.0 - base),
        starting_output=memory.integral,
    )
    duty = pid(aim.beer_c, dt=min(max(aim.dt_s, 1e-3), DT_S_MAX))
    assert duty is not None
    return replace(memory, integral=pid.components[1]), base + duty


def _share(vessel: Vessel, aim: _Aim, duty: float) -> float:
    """The duty of the pad, or below 0 of the fan, whose authority grows with the difference."""
    if duty >= 0.0:
        return min(1.0, duty)
    assert aim.garage_c is not None
    difference_k = max(FAN_DIFFERENCE_K_MIN, aim.beer_c - aim.garage_c)
    fan = -duty * vessel.pad_w / (vessel.fan_w_per_k * difference_k)
    return 0.0 if fan < FAN_DEMAND_MIN else -min(1.0, fan)
