"""Regulator: how much heat or fan the beer needs. (Fifth stage.)

It steers by where the beer will be once the heat already on its way has arrived. Far below its
target the beer gets everything until that coast will reach it; near it, a proportional-integral
rule works on top of what the garage and a ramp are known to need. A pad probe caps the demand
before the pad reaches its limit. It knows the relays' permits only to stop integrating what is
forbidden, and forbids nothing itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from simple_pid import PID

from controller.bounded import setting
from controller.decision.approach import (
    Aim,
    Felt,
    approach_s,
    coast_k,
    felt_since,
    known_need,
    landed,
    landing_k,
)
from controller.decision.pad_cap import pad_cap
from controller.decision.vocabulary import Applied, Evidence, Moment, Permit, Permits, Target
from controller.thermal.model import Vessel
from controller.thermal.tune import Tuning

# Why: half a kelvin is a real error, and full heat is the fastest way out of it; but an approach
# shorter than the heat on its way could not be cut in time, so what one delay brings counts too.
FAR_K_MIN = 0.5
FAR_DELAYS = 1.5
# Why: further off, an error says how far it is and not what was misjudged; 1.5 reciprocals of the
# gain let it never park outside, where the proportional part alone just balances the loss.
INTEGRAL_K_MIN = 1.5
INTEGRAL_BANDS = 1.5
FAN_DEMAND_MIN = 0.05  # Why: less cooling than this is the noise of the rule.
FAN_DIFFERENCE_K_MIN = 0.5  # Why: below it the fan's authority is not worth dividing by.
CIRCULATION_SHARE = 0.1  # Why: a minute in ten evens out the air of a chamber.
DT_S_MAX = 60.0  # Why: a longer gap is not one step of the integral.


@dataclass(frozen=True, slots=True)
class FanSettings:
    """What the fan is there for."""

    use: str = setting(
        "cooling (it carries the beer's heat away), circulation (it only stirs the air), none",
        default="cooling",
        words=("cooling", "circulation", "none"),
    )


@dataclass(frozen=True, slots=True)
class RegulatorPlan:
    """The vessel that is regulated, the tuning that suits it, and what its fan is for.

    Vessel and tuning may change from tick to tick, as they are learned.
    """

    vessel: Vessel
    tuning: Tuning
    fan: FanSettings = FanSettings()


@dataclass(frozen=True, slots=True)
class RegulatorMemory:
    """What the regulator remembers.

    Args:
        phase: idle, blind, heating or holding.
        integral: the integral part, as a share of the pad's watts.
        integrated_s: for how long it has been gathered, up to one integral time.
        setpoint_c: what it steered to last.
        phase_mono_s: since when the phase is what it is.
        due_mono_s: when the beer should have arrived, at the latest; infinite when it cannot.
        felt: what has been felt and has flowed.
        vessel: what it reckoned with last.
    """

    phase: str = "idle"
    integral: float = 0.0
    integrated_s: float = 0.0
    setpoint_c: float | None = None
    phase_mono_s: float = 0.0
    due_mono_s: float = math.inf
    felt: Felt = Felt()
    vessel: Vessel | None = None


@dataclass(frozen=True, slots=True)
class Sight:
    """All one tick's regulation may look at.

    Args:
        evidence: what is believed about every temperature.
        target: where the beer should be; None when nothing is asked for.
        permits: what the interlocks allow.
        applied: what the relays really did since the last tick.
        pad_c_max: the temperature at which the interlocks stop the pad.
        now: this tick.
    """

    evidence: Evidence
    target: Target | None
    permits: Permits
    applied: Applied
    pad_c_max: float
    now: Moment


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
class _Stops:
    """Between what the output may move, as shares of the pad's watts (cooling below 0).

    Args:
        coldest: what the fan could give.
        lowest: what it may give now.
        highest: what the pad may give now.
        is_heat_off: whether heat is forbidden.
    """

    coldest: float
    lowest: float
    highest: float
    is_heat_off: bool


def regulate(
    plan: RegulatorPlan, memory: RegulatorMemory, sight: Sight
) -> tuple[RegulatorMemory, Demand]:
    """How much heat or fan is needed now, and what to remember."""
    target, beer, mono_s = sight.target, sight.evidence.beer, sight.now.mono_s
    felt = felt_since(plan.vessel, memory.felt, sight.evidence, sight.applied.heat, mono_s)
    if target is None or beer.value_c is None:
        phase = "idle" if target is None else "blind"
        return replace(_entered(memory, phase, mono_s), felt=felt), Demand()
    assert math.isfinite(beer.value_c), beer.value_c
    setpoint_c = target.high_c if beer.value_c > target.high_c else target.low_c
    garage_c = felt.garage_c
    aim = Aim(
        beer.value_c,
        beer.slope_k_per_s,
        setpoint_c,
        target.slope_k_per_s,
        garage_c,
        None if garage_c is None else plan.vessel.hold_duty(setpoint_c, garage_c),
        felt.on_way_s,
        _carried(plan, memory, setpoint_c, garage_c),
        felt.dt_s,
    )
    cap = pad_cap(felt.pad_c, felt.pad_k_per_s, setpoint_c, sight.pad_c_max)
    memory = _phased(plan, memory, aim, felt)
    if memory.phase == "heating":
        return memory, Demand(cap, setpoint_c, aim.hold_duty, mono_s > memory.due_mono_s)
    memory, duty = _summed(plan, memory, aim, _stops(plan, aim, sight, cap))
    return memory, Demand(_share(plan, aim, duty), setpoint_c, aim.hold_duty)


def _carried(
    plan: RegulatorPlan, memory: RegulatorMemory, setpoint_c: float, garage_c: float | None
) -> float:
    """The integral, with what a newly learned vessel now reckons itself taken out of it.

    As far as the integral is known from holding, the sum of both stays what it was.
    """
    old = memory.vessel
    if old is None or old is plan.vessel or garage_c is None:
        return memory.integral
    moved = old.hold_duty(setpoint_c, garage_c) - plan.vessel.hold_duty(setpoint_c, garage_c)
    return memory.integral + moved * memory.integrated_s / plan.tuning.integral_s


def _entered(memory: RegulatorMemory, phase: str, mono_s: float) -> RegulatorMemory:
    if memory.phase == phase:
        return memory
    return replace(memory, phase=phase, phase_mono_s=mono_s, due_mono_s=math.inf)


def _phased(plan: RegulatorPlan, memory: RegulatorMemory, aim: Aim, felt: Felt) -> RegulatorMemory:
    """Goes into heating far below the set point, and out of it when the coast will reach it."""
    vessel, mono_s = plan.vessel, felt.mono_s
    far_k = max(FAR_K_MIN, FAR_DELAYS * vessel.rise_k_per_s * vessel.delay_s)
    is_moved = memory.setpoint_c is None or abs(memory.setpoint_c - aim.setpoint_c) > FAR_K_MIN
    phase, since_s, due_s = memory.phase, memory.phase_mono_s, memory.due_mono_s
    integral = aim.integral
    if phase != "heating":
        is_far = aim.error_k - max(0.0, coast_k(vessel, aim)) > far_k
        entered = "heating" if is_far else "holding"
        since_s = mono_s if entered != phase else since_s
        is_moved, phase = is_far, entered
    elif max(0.0, landing_k(vessel, aim, mono_s - since_s)) >= aim.error_k:
        known = memory.integrated_s / plan.tuning.integral_s
        integral = landed(vessel, aim, mono_s - since_s, known)
        phase, since_s, is_moved = "holding", mono_s, False
    if phase == "holding":
        due_s = math.inf
    elif is_moved:
        due_s = mono_s + approach_s(vessel, aim)
    return RegulatorMemory(
        phase, integral, memory.integrated_s, aim.setpoint_c, since_s, due_s, felt, vessel
    )


def _stops(plan: RegulatorPlan, aim: Aim, sight: Sight, cap: float) -> _Stops:
    target, permits, vessel = sight.target, sight.permits, plan.vessel
    assert target is not None
    is_in_band = target.low_c < target.high_c and aim.beer_c <= target.high_c
    coldest = 0.0
    if plan.fan.use == "cooling" and not is_in_band and aim.garage_c is not None:
        coldest = -vessel.fan_w_per_k * max(0.0, aim.beer_c - aim.garage_c) / vessel.pad_w
    lowest = 0.0 if permits.fan is Permit.OFF else coldest
    return _Stops(coldest, lowest, cap, permits.heat is Permit.OFF)


def _summed(
    plan: RegulatorPlan, memory: RegulatorMemory, aim: Aim, stops: _Stops
) -> tuple[RegulatorMemory, float]:
    """The proportional-integral rule on top of the feed-forward, on the beer as it will be.

    A fresh PID each tick with its integral handed over is a pure function. The integral rests when
    the beer is far off, when the output is at a stop, and when what it asks for is forbidden: a
    sum that only got clamped would need a long overshoot to come back.
    """
    vessel, gain = plan.vessel, plan.tuning.gain_per_k
    base = known_need(vessel, aim)
    will_c = aim.beer_c + coast_k(vessel, aim)
    error_k = aim.setpoint_c - will_c
    asked = base + memory.integral + gain * error_k
    is_stopped = error_k > 0.0 and (stops.is_heat_off or asked >= stops.highest)
    is_stopped = is_stopped or (error_k < 0.0 and asked <= stops.lowest)
    is_far = abs(aim.error_k) > max(INTEGRAL_K_MIN, INTEGRAL_BANDS / gain)
    rests = is_stopped or is_far or not 0.0 < aim.dt_s <= DT_S_MAX
    pid = PID(
        Kp=gain,
        Ki=0.0 if rests else gain / plan.tuning.integral_s,
        Kd=0.0,
        setpoint=aim.setpoint_c,
        sample_time=None,
        output_limits=(min(stops.coldest, 1.0) - base, 1.0 - base),
        starting_output=memory.integral,
    )
    trim = pid(will_c, dt=min(max(aim.dt_s, 1e-3), DT_S_MAX))
    assert trim is not None
    if not rests:
        gathered_s = min(memory.integrated_s + aim.dt_s, plan.tuning.integral_s)
        memory = replace(memory, integral=pid.components[1], integrated_s=gathered_s)
    return memory, max(stops.lowest, min(stops.highest, base + trim))


def _share(plan: RegulatorPlan, aim: Aim, duty: float) -> float:
    """The duty of the pad, or below 0 of the fan, whose authority grows with the difference."""
    if duty > 0.0:
        return min(1.0, duty)
    if plan.fan.use == "circulation":
        return -CIRCULATION_SHARE
    if duty == 0.0:
        return 0.0
    assert aim.garage_c is not None
    vessel = plan.vessel
    difference_k = max(FAN_DIFFERENCE_K_MIN, aim.beer_c - aim.garage_c)
    fan = -duty * vessel.pad_w / (vessel.fan_w_per_k * difference_k)
    return 0.0 if fan < FAN_DEMAND_MIN else -min(1.0, fan)
