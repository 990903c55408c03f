from __future__ import annotations

import math
from dataclasses import replace

import pytest
from simple_pid import PID

from controller.decision.approach import Felt
from controller.decision.regulator import (
    CIRCULATION_SHARE,
    Demand,
    FanSettings,
    RegulatorMemory,
    RegulatorPlan,
    Sight,
)
from controller.decision.regulator import regulate as regulate_sight
from controller.decision.vocabulary import (
    Applied,
    Evidence,
    Moment,
    Permit,
    Permits,
    Sensed,
    Target,
)
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned

VESSEL = vessel_of(VesselSettings(20.0, 60.0))
PLAN = RegulatorPlan(VESSEL, tuned(VESSEL, 600.0))
# A pad whose heat shows at once: then the rule is a textbook PI and nothing else.
PROMPT = RegulatorPlan(replace(VESSEL, delay_s=1e-9), PLAN.tuning)
FREE = Permits(Permit.FREE, Permit.FREE)
HEAT_ONLY = Permits(Permit.FREE, Permit.OFF)


def sees(beer_c: float | None, garage_c: float | None = 5.0, slope: float | None = 0.0) -> Evidence:
    garage = Sensed(fitted=True) if garage_c is None else Sensed(garage_c, 0.0, 0.0, fitted=True)
    return Evidence(beer=Sensed(beer_c, 0.0, slope, fitted=True), garage=garage)


def at(mono_s: float) -> Moment:
    return Moment(mono_s, mono_s)


AT_35 = Target(35.0, 35.0)


def regulate(
    plan: RegulatorPlan,
    memory: RegulatorMemory,
    evidence: Evidence,
    target: Target | None,
    permits: Permits,
    now: Moment,
    heat: bool = False,
) -> tuple[RegulatorMemory, Demand]:
    sight = Sight(evidence, target, permits, Applied(heat=heat), 60.0, now)
    return regulate_sight(plan, memory, sight)


def settled(
    garage_c: float | None = 5.0, target: Target = AT_35, plan: RegulatorPlan = PLAN
) -> RegulatorMemory:
    """A memory at rest on its target: as much heat is on its way as it needs."""
    memory, demand = regulate(
        plan, RegulatorMemory(), sees(target.low_c, garage_c), target, FREE, at(0.0)
    )
    return balanced(memory, demand.hold_duty or 0.0)


def balanced(memory: RegulatorMemory, duty: float) -> RegulatorMemory:
    """The same, with the heat of this duty on its way."""
    on_way_s = max(0.0, duty) * VESSEL.delay_s
    return replace(memory, felt=replace(memory.felt, on_way_s=on_way_s))


def test_on_target_it_asks_for_just_what_the_loss_takes() -> None:
    _, demand = regulate(PLAN, settled(), sees(35.0), Target(35.0, 35.0), FREE, at(0.0))
    assert demand.share == pytest.approx(0.85 * 30.0 / 60.0)
    assert demand.hold_duty == pytest.approx(0.425)


def test_a_steady_error_is_summed_like_a_textbook_pi() -> None:
    memory, error_k = settled(), 0.25
    for turn in range(1, 361):
        memory, demand = regulate(
            PROMPT, memory, sees(35.0 - error_k), Target(35.0, 35.0), FREE, at(turn * 10.0)
        )
    gain, integral_s = PLAN.tuning.gain_per_k, PLAN.tuning.integral_s
    assert demand.share == pytest.approx(0.425 + gain * error_k * (1.0 + 3600.0 / integral_s))


def test_a_fresh_pid_each_tick_equals_one_that_lives_on() -> None:
    lasting = PID(
        PLAN.tuning.gain_per_k,
        PLAN.tuning.gain_per_k / PLAN.tuning.integral_s,
        0.0,
        35.0,
        sample_time=None,
        output_limits=(-0.425, 0.575),
    )
    memory = settled()
    for turn in range(1, 2000):
        beer_c = 35.0 + 0.3 * math.sin(turn / 40.0)
        memory, demand = regulate(
            PROMPT, memory, sees(beer_c), Target(35.0, 35.0), HEAT_ONLY, at(turn * 10.0)
        )
        assert demand.share == pytest.approx(0.425 + lasting(beer_c, dt=10.0), abs=1e-6)


def test_the_integral_rests_while_heat_is_forbidden() -> None:
    vetoed = Permits(Permit.OFF, Permit.OFF)
    memory = settled()
    for turn in range(1, 100):
        memory, _ = regulate(PLAN, memory, sees(34.5), Target(35.0, 35.0), vetoed, at(turn * 10.0))
    assert memory.integral == 0.0


@pytest.mark.parametrize("error_k", [1.2, -1.2])
def test_the_integral_rests_at_either_stop(error_k: float) -> None:
    memory = settled()
    for turn in range(1, 100):
        memory, _ = regulate(
            PLAN, memory, sees(35.0 - error_k), Target(35.0, 35.0), HEAT_ONLY, at(turn * 10.0)
        )
    assert memory.integral == 0.0


def test_far_below_it_heats_in_full_until_the_coast_will_arrive() -> None:
    target = Target(35.0, 35.0)
    rate = 1.5 / 3600.0
    memory, demand = regulate(PLAN, RegulatorMemory(), sees(30.0), target, FREE, at(0.0))
    assert (memory.phase, demand.share) == ("heating", 1.0)
    coast_k = rate * VESSEL.delay_s
    memory, demand = regulate(
        PLAN, memory, sees(34.99 - coast_k, slope=rate), target, FREE, at(7200.0), heat=True
    )
    assert memory.phase == "heating"
    memory, demand = regulate(
        PLAN, memory, sees(35.01 - coast_k, slope=rate), target, FREE, at(7210.0), heat=True
    )
    assert memory.phase == "holding"
    # The slope under full heat says how much of the pad the loss took, the garage says it too.
    held = memory.integral + 0.425
    assert held == pytest.approx((1.0 - rate / VESSEL.rise_k_per_s + 0.425) / 2.0, abs=0.01)


def test_without_a_garage_probe_the_slope_alone_tells_the_hold_duty() -> None:
    rate = 1.5 / 3600.0
    memory, _ = regulate(PLAN, RegulatorMemory(), sees(30.0, None), AT_35, FREE, at(0.0))
    memory, _ = regulate(
        PLAN, memory, sees(34.9, None, slope=rate), AT_35, FREE, at(7200.0), heat=True
    )
    assert memory.integral == pytest.approx(1.0 - rate / VESSEL.rise_k_per_s, abs=0.01)


def test_an_integral_known_from_holding_is_not_thrown_away_by_a_slope() -> None:
    seasoned = RegulatorMemory(integral=0.05, integrated_s=PLAN.tuning.integral_s)
    memory, _ = regulate(PLAN, seasoned, sees(32.0), AT_35, FREE, at(0.0))
    memory, _ = regulate(
        PLAN, memory, sees(34.9, slope=1.5 / 3600.0), AT_35, FREE, at(7200.0), heat=True
    )
    assert memory.phase == "holding"
    assert memory.integral == pytest.approx(0.05)


def test_a_short_approach_keeps_what_was_known_before() -> None:
    target = Target(35.0, 35.0)
    memory, _ = regulate(PLAN, RegulatorMemory(integral=0.05), sees(33.0), target, FREE, at(0.0))
    memory, _ = regulate(PLAN, memory, sees(35.0, slope=None), target, FREE, at(60.0))
    assert memory.phase == "holding"
    assert memory.integral == pytest.approx(0.05, abs=0.005)


def test_a_late_arrival_is_said_and_an_impossible_one_is_not() -> None:
    target = Target(35.0, 35.0)
    memory, _ = regulate(PLAN, RegulatorMemory(), sees(30.0), target, FREE, at(0.0))
    assert math.isfinite(memory.due_mono_s)
    _, demand = regulate(PLAN, memory, sees(30.0), target, FREE, at(memory.due_mono_s + 1.0))
    assert demand.is_late
    arctic, _ = regulate(PLAN, RegulatorMemory(), sees(30.0, -50.0), target, FREE, at(0.0))
    assert arctic.due_mono_s == math.inf


def test_a_moved_target_is_given_a_new_time() -> None:
    memory, _ = regulate(PLAN, RegulatorMemory(), sees(20.0), Target(25.0, 25.0), FREE, at(0.0))
    moved, _ = regulate(PLAN, memory, sees(20.0), Target(35.0, 35.0), FREE, at(10.0))
    assert moved.due_mono_s > memory.due_mono_s + 3600.0


def test_the_garage_is_smoothed_and_kept_when_its_probe_is_lost() -> None:
    memory = settled(garage_c=5.0)
    memory, _ = regulate(
        PLAN, memory, sees(35.0, garage_c=-5.0), Target(35.0, 35.0), FREE, at(60.0)
    )
    assert memory.felt.garage_c == pytest.approx(5.0 - 10.0 * 60.0 / 1200.0)
    kept, _ = regulate(PLAN, memory, sees(35.0, garage_c=None), Target(35.0, 35.0), FREE, at(70.0))
    assert kept.felt.garage_c == memory.felt.garage_c


def test_a_ramp_is_fed_forward() -> None:
    target = Target(35.0, 35.0, slope_k_per_s=VESSEL.rise_k_per_s / 5.0)
    on_ramp = balanced(settled(), 0.425 + 0.2)
    _, demand = regulate(PLAN, on_ramp, sees(35.0), target, FREE, at(0.0))
    assert demand.share == pytest.approx(0.425 + 0.2)


def test_at_the_corners_of_a_ramp_the_heat_on_its_way_is_filled_and_let_out() -> None:
    rise = VESSEL.rise_k_per_s / 5.0
    bump = PLAN.tuning.gain_per_k * rise * VESSEL.delay_s
    _, begun = regulate(PLAN, settled(), sees(35.0), Target(35.0, 35.0, rise), FREE, at(0.0))
    assert begun.share == pytest.approx(0.625 + bump)
    _, ended = regulate(PLAN, balanced(settled(), 0.625), sees(35.0), AT_35, FREE, at(0.0))
    assert ended.share == pytest.approx(0.425 - bump)


def test_the_colder_the_garage_the_shorter_the_fan_runs_for_the_same_watts() -> None:
    target = Target(18.0, 18.0)
    for garage_c in (-2.0, 8.0, 13.0):
        memory = settled(garage_c, target)
        hold_duty = 0.85 * (18.0 - garage_c) / 60.0
        _, demand = regulate(PLAN, memory, sees(18.9, garage_c), target, FREE, at(10.0))
        cooling_w = -60.0 * (hold_duty - 0.9 * PLAN.tuning.gain_per_k)
        fan_w = VESSEL.fan_w_per_k * (18.9 - garage_c)
        assert demand.share == pytest.approx(-min(1.0, cooling_w / fan_w), rel=0.01)


def test_a_little_cooling_is_not_worth_the_fan() -> None:
    target = Target(18.0, 18.0)
    memory = balanced(replace(settled(10.0, target), integral=-0.125), 0.0)
    _, demand = regulate(PLAN, memory, sees(18.0, 10.0), target, FREE, at(10.0))
    assert demand.share == 0.0


def test_within_a_free_rise_nothing_cools_and_above_it_the_ceiling_holds() -> None:
    band = Target(30.0, 36.0)
    _, inside = regulate(PLAN, settled(20.0, band), sees(33.0, 20.0), band, FREE, at(10.0))
    assert (inside.share, inside.setpoint_c) == (0.0, 30.0)
    _, above = regulate(PLAN, settled(20.0, band), sees(37.0, 20.0), band, FREE, at(10.0))
    assert above.setpoint_c == 36.0
    assert above.share < 0.0


def test_without_a_target_it_is_idle_and_without_beer_blind() -> None:
    memory, demand = regulate(PLAN, settled(), sees(35.0), None, FREE, at(10.0))
    assert (memory.phase, demand.share) == ("idle", 0.0)
    memory, demand = regulate(PLAN, memory, sees(None), Target(35.0, 35.0), FREE, at(20.0))
    assert (memory.phase, demand.share) == ("blind", 0.0)
    again, _ = regulate(PLAN, memory, sees(None), Target(35.0, 35.0), FREE, at(30.0))
    assert again.phase_mono_s == 20.0


@pytest.mark.parametrize("use", ["circulation", "none"])
def test_a_fan_that_does_not_cool_is_not_reckoned_with(use: str) -> None:
    plan = replace(PLAN, fan=FanSettings(use))
    target = Target(18.0, 18.0)
    memory = settled(8.0, target, plan)
    for turn in range(1, 400):
        memory, demand = regulate(plan, memory, sees(18.6, 8.0), target, FREE, at(turn * 10.0))
    assert demand.share == (-CIRCULATION_SHARE if use == "circulation" else 0.0)
    assert memory.integral > -0.1  # Nothing has been wound up against the fan's stop.


def test_where_the_beer_will_be_counts_and_not_where_it_is() -> None:
    """After full heat, with the beer still just below: what is on its way is enough."""
    full = balanced(settled(), 1.0)
    _, demand = regulate(PLAN, full, sees(34.9), AT_35, FREE, at(0.0))
    coming_k = VESSEL.rise_k_per_s * VESSEL.delay_s * (1.0 - 0.425)
    assert coming_k > 0.1
    gain = PLAN.tuning.gain_per_k
    assert demand.share == pytest.approx(0.425 + gain * (0.1 - coming_k), abs=1e-6)


def test_heat_arrives_like_a_lag_and_is_then_no_longer_on_its_way() -> None:
    memory = RegulatorMemory()
    memory, _ = regulate(PLAN, memory, sees(30.0), AT_35, FREE, at(0.0))
    for turn in range(1, 500):
        memory, _ = regulate(PLAN, memory, sees(30.0), AT_35, FREE, at(turn * 10.0), heat=True)
    assert memory.felt.on_way_s == pytest.approx(VESSEL.delay_s, rel=0.01)
    for turn in range(500, 1000):
        memory, _ = regulate(PLAN, memory, sees(30.0), AT_35, FREE, at(turn * 10.0))
    assert memory.felt.on_way_s < 1.0


def test_a_newly_learned_vessel_takes_over_without_a_bump() -> None:
    seasoned = replace(settled(), integrated_s=PLAN.tuning.integral_s)
    _, before = regulate(PLAN, seasoned, sees(35.0), AT_35, FREE, at(0.0))
    learned = replace(PLAN, vessel=replace(VESSEL, loss_w_per_k=1.1))
    memory, after = regulate(learned, seasoned, sees(35.0), AT_35, FREE, at(0.0))
    assert after.share == pytest.approx(before.share)
    assert memory.integral == pytest.approx(-0.25 * 30.0 / 60.0)
    # What has not been known from holding yet gives way to what was learned.
    _, raw = regulate(learned, settled(), sees(35.0), AT_35, FREE, at(0.0))
    assert raw.share > before.share + 0.1


def test_a_hot_pad_takes_the_demand_back_before_its_limit() -> None:
    def asked(pad_c: float | None, before_c: float | None = None) -> float:
        pad = Sensed(pad_c, 0.0, 0.0, fitted=True)
        evidence = replace(sees(30.0), pad=pad)
        felt = Felt(pad_c=before_c, mono_s=0.0)
        _, demand = regulate(PLAN, RegulatorMemory(felt=felt), evidence, AT_35, FREE, at(10.0))
        return demand.share

    assert asked(None) == asked(50.0) == 1.0
    assert 0.0 < asked(57.0) < asked(56.0) < 1.0
    assert asked(59.0) == 0.0
    assert asked(56.0, before_c=54.0) == 0.0  # It rises by 0.2 K/s and will be there at once.


def test_a_pad_well_below_its_limit_is_kept_near_the_beer_it_warms() -> None:
    pad = Sensed(45.5, 0.0, 0.0, fitted=True)
    evidence = replace(sees(15.0), pad=pad)
    target = Target(20.0, 20.0)
    _, demand = regulate(PLAN, RegulatorMemory(), evidence, target, FREE, at(0.0))
    assert demand.share == 0.0


def test_the_integral_rests_while_the_pad_is_capped() -> None:
    pad = Sensed(58.5, 0.0, 0.0, fitted=True)
    memory = settled()
    for turn in range(1, 200):
        memory, _ = regulate(
            PLAN, memory, replace(sees(34.8), pad=pad), AT_35, FREE, at(turn * 10.0)
        )
    assert memory.integral == 0.0


def test_a_target_taken_back_ends_the_approach() -> None:
    memory, _ = regulate(PLAN, RegulatorMemory(), sees(30.0), AT_35, FREE, at(0.0))
    memory, demand = regulate(PLAN, memory, sees(30.0), Target(25.0, 25.0), FREE, at(10.0))
    assert memory.phase == "holding"
    assert demand.share <= 0.0


def test_the_coast_is_nothing_while_as_much_is_on_its_way_as_is_needed() -> None:
    memory = settled()
    assert memory.felt.on_way_s == pytest.approx(0.425 * VESSEL.delay_s)
    _, demand = regulate(PLAN, memory, sees(34.9), AT_35, FREE, at(0.0))
    assert demand.share == pytest.approx(0.425 + PLAN.tuning.gain_per_k * 0.1)
