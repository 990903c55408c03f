from __future__ import annotations

import math
from dataclasses import replace

import pytest
from simple_pid import PID

from controller.decision.regulator import RegulatorMemory, RegulatorPlan, regulate
from controller.decision.vocabulary import Evidence, Moment, Permit, Permits, Sensed, Target
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned

VESSEL = vessel_of(VesselSettings(20.0, 60.0))
PLAN = RegulatorPlan(VESSEL, tuned(VESSEL, 600.0))
FREE = Permits(Permit.FREE, Permit.FREE)
HEAT_ONLY = Permits(Permit.FREE, Permit.OFF)


def sees(beer_c: float | None, garage_c: float | None = 5.0, slope: float | None = 0.0) -> Evidence:
    garage = Sensed(fitted=True) if garage_c is None else Sensed(garage_c, 0.0, 0.0, fitted=True)
    return Evidence(beer=Sensed(beer_c, 0.0, slope, fitted=True), garage=garage)


def at(mono_s: float) -> Moment:
    return Moment(mono_s, mono_s)


AT_35 = Target(35.0, 35.0)


def settled(garage_c: float | None = 5.0, target: Target = AT_35) -> RegulatorMemory:
    memory, _ = regulate(
        PLAN, RegulatorMemory(), sees(target.low_c, garage_c), target, FREE, at(0.0)
    )
    return memory


def test_on_target_it_asks_for_just_what_the_loss_takes() -> None:
    _, demand = regulate(PLAN, settled(), sees(35.0), Target(35.0, 35.0), FREE, at(10.0))
    assert demand.share == pytest.approx(0.85 * 30.0 / 60.0)
    assert demand.hold_duty == pytest.approx(0.425)


def test_a_steady_error_is_summed_like_a_textbook_pi() -> None:
    memory, error_k = settled(), 0.25
    for turn in range(1, 361):
        memory, demand = regulate(
            PLAN, memory, sees(35.0 - error_k), Target(35.0, 35.0), FREE, at(turn * 10.0)
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
            PLAN, memory, sees(beer_c), Target(35.0, 35.0), HEAT_ONLY, at(turn * 10.0)
        )
        assert demand.share == pytest.approx(0.425 + lasting(beer_c, dt=10.0), abs=1e-9)


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
        PLAN, memory, sees(34.99 - coast_k, slope=rate), target, FREE, at(7200.0)
    )
    assert memory.phase == "heating"
    memory, demand = regulate(
        PLAN, memory, sees(35.01 - coast_k, slope=rate), target, FREE, at(7210.0)
    )
    assert memory.phase == "holding"
    # The slope under full heat says how much of the pad the loss took.
    held = memory.integral + 0.425
    assert held == pytest.approx(1.0 - rate / VESSEL.rise_k_per_s, abs=0.01)


def test_a_short_approach_keeps_what_was_known_before() -> None:
    target = Target(35.0, 35.0)
    memory, _ = regulate(PLAN, RegulatorMemory(integral=0.05), sees(33.0), target, FREE, at(0.0))
    memory, _ = regulate(PLAN, memory, sees(35.0, slope=None), target, FREE, at(60.0))
    assert memory.phase == "holding"
    assert memory.integral == pytest.approx(0.05, abs=1e-6)


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
    assert memory.garage_c == pytest.approx(5.0 - 10.0 * 60.0 / 1200.0)
    kept, _ = regulate(PLAN, memory, sees(35.0, garage_c=None), Target(35.0, 35.0), FREE, at(70.0))
    assert kept.garage_c == memory.garage_c


def test_a_ramp_is_fed_forward() -> None:
    target = Target(35.0, 35.0, slope_k_per_s=VESSEL.rise_k_per_s / 5.0)
    _, demand = regulate(PLAN, settled(), sees(35.0), target, FREE, at(10.0))
    assert demand.share == pytest.approx(0.425 + 0.2)


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
    memory = replace(settled(10.0, target), integral=-0.125)
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
