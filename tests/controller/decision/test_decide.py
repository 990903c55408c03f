"""The whole decision against a lumped plant, and its properties under anything."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.decision.decide import State, decide
from controller.decision.interlock_rules import FAN_DWELL_S, HEAT_DWELL_S, InterlockSettings
from controller.decision.profile import Step
from controller.decision.vocabulary import Applied, Fault, Moment, Reading, Role
from tests.controller.decision.driving import TICK_S, Drive, hold, plan_for


def swinging(mean_c: float, swing_k: float = 4.0):  # type: ignore[no-untyped-def]
    return lambda s: mean_c + swing_k * math.cos(2 * math.pi * s / 86_400.0)


def test_a_cold_garage_is_held_within_a_tenth_of_a_kelvin() -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=20.0, garage_c=swinging(3.0)).run(30)
    arrived = next(i for i, c in enumerate(drive.beers_c) if c >= 34.7)
    errors = [c - 35.0 for c in drive.beers_c[arrived:]]
    assert (sum(e * e for e in errors) / len(errors)) ** 0.5 < 0.06
    assert max(errors) < 0.3
    assert drive.codes("raised") == []


def test_it_works_without_a_garage_probe() -> None:
    drive = Drive(
        plan_for(hold(35.0)), beer_c=20.0, garage_c=swinging(3.0), roles=(Role.BEER,)
    ).run(30)
    errors = [c - 35.0 for c in drive.beers_c[-12 * 360 :]]
    assert (sum(e * e for e in errors) / len(errors)) ** 0.5 < 0.1
    arrived = next(i for i, c in enumerate(drive.beers_c) if c >= 34.7)
    assert max(drive.beers_c[arrived:]) < 35.3


def test_the_approach_is_nearly_as_fast_as_full_heat_can_be() -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=25.0).run(12)
    arrived_s = next(i for i, c in enumerate(drive.beers_c) if c >= 34.7) * TICK_S
    # The closed form of one lump under full heat: T(t) = Tinf + (T0 - Tinf) exp(-t / tau).
    capacity, loss = drive.plan.regulator.vessel.capacity_j_per_k, drive.loss_w_per_k
    end_c = 5.0 + 60.0 / loss
    fastest_s = capacity / loss * math.log((end_c - 25.0) / (end_c - 34.7))
    assert arrived_s < 1.1 * fastest_s + 430.0


def test_a_warm_ferment_in_a_cool_garage_is_cooled_by_the_fan_alone() -> None:
    drive = Drive(plan_for(hold(18.0)), beer_c=20.0, garage_c=lambda _: 10.0, ferment_w=25.0).run(
        30
    )
    assert abs(drive.beers_c[-1] - 18.0) < 0.3
    assert any(d.command.fan for d in drive.decisions)
    assert not any(d.command.heat for d in drive.decisions[-360:])


def test_the_fan_never_runs_in_a_garage_warmer_than_the_beer() -> None:
    drive = Drive(plan_for(hold(18.0)), beer_c=20.0, garage_c=lambda _: 24.0).run(6)
    assert not any(d.command.fan for d in drive.decisions)
    assert "garage-not-colder" in drive.decisions[-1].permits.vetoes


def test_a_ramp_is_followed() -> None:
    ramp = Step("raise", 20.0, 26.0, hold_s=24 * 3600.0)
    drive = Drive(plan_for(ramp, hold(26.0)), beer_c=20.0, garage_c=lambda _: 10.0).run(30)
    halfway = drive.decisions[12 * 360]
    assert halfway.target is not None
    assert abs(halfway.target.low_c - 23.0) < 0.01
    assert abs(drive.beers_c[12 * 360] - 23.0) < 0.15
    assert drive.decisions[-1].target is not None
    assert drive.decisions[-1].target.step == 2


def test_during_a_free_rise_the_beer_warms_itself_unheated_and_uncooled() -> None:
    rise = Step("free rise", 30.0, 36.0, free_rise=True)
    drive = Drive(
        plan_for(rise), beer_c=30.6, garage_c=lambda _: 20.0, ferment_w=18.0, loss_w_per_k=0.6
    ).run(12)
    assert drive.beers_c[-1] > 32.0
    late = drive.decisions[360:]
    assert not any(d.command.fan or d.command.heat for d in late)


def test_a_pad_too_weak_runs_flat_out_says_so_and_does_not_wind_up() -> None:
    cold_night = lambda s: -25.0 if s < 20 * 3600.0 else 15.0  # noqa: E731
    drive = Drive(plan_for(hold(35.0), pad_w=40.0), beer_c=34.5, garage_c=cold_night).run(40)
    assert "cannot-reach" in drive.codes("raised")
    assert "cannot-reach" in drive.codes("cleared")
    warm_again = drive.beers_c[22 * 360 :]
    assert max(warm_again) < 35.4


def test_a_beer_probe_lost_turns_the_heat_off_within_a_minute_and_back_on_after_three() -> None:
    lost = range(2 * 3600, 3 * 3600)
    drive = Drive(
        plan_for(hold(35.0)),
        beer_c=34.0,
        says=lambda role, s, value: (
            Fault.MISSING if role is Role.BEER and int(s - 1000.0) in lost else value
        ),
    ).run(4)
    gone = drive.decisions[2 * 360 + 6 : 3 * 360 - 1]
    assert not any(d.command.heat or d.command.fan for d in gone)
    assert drive.codes("raised") == ["beer-probe-lost"]
    assert drive.codes("cleared") == ["beer-probe-lost"]
    back = drive.decisions[3 * 360 :]
    assert next(i for i, d in enumerate(back) if d.evidence.beer.value_c is not None) <= 3


def test_a_restart_in_the_middle_of_a_step_goes_on_where_it_was() -> None:
    drive = Drive(plan_for(Step("a", 20, 20, hold_s=3600.0), hold(25.0)), beer_c=20.0).run(0.5)
    resumed = replace(State(), profile=drive.state.profile)
    again = Drive(drive.plan, beer_c=20.0, state=resumed, mono_s=drive.mono_s).run(0.6)
    assert again.codes("begun") == []
    assert again.codes("changed") == ["step"]


def test_the_same_inputs_give_the_same_decision() -> None:
    first = Drive(plan_for(hold(35.0)), beer_c=30.0).run(3)
    second = Drive(plan_for(hold(35.0)), beer_c=30.0).run(3)
    assert first.decisions == second.decisions
    assert first.state == second.state


def test_nothing_is_switched_without_a_profile() -> None:
    drive = Drive(plan_for(), beer_c=10.0).run(1)
    assert not any(d.command.heat or d.command.fan for d in drive.decisions)
    assert drive.decisions[-1].phase == "idle"


readings_c = st.one_of(
    st.floats(-30.0, 70.0),
    st.floats(34.0, 36.0),
    st.sampled_from([85.0, 127.9375, 0.0, -0.0625, math.nan, math.inf]),
    st.sampled_from(list(Fault)),
)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(readings_c, readings_c, readings_c, st.floats(0.0, 200.0), st.integers(1, 40)),
        min_size=1,
        max_size=12,
    ),
    st.floats(-2.0, 41.0),
)
def test_no_readings_and_no_clock_ever_give_what_must_not_be(
    stretches: list[tuple[float | Fault, float | Fault, float | Fault, float, int]],
    target_c: float,
) -> None:
    """Invariants of every tick: no heat with fan, none past a limit, none on an old reading.

    And no dwell shorter than the least, except that a safety OFF may always cut one short.
    """
    limits = InterlockSettings(beer_c_max=42.0, pad_c_max=60.0)
    plan = plan_for(hold(target_c), interlocks=limits)
    state, now_s = State(), 1000.0
    changed_s = {"heat": -math.inf, "fan": -math.inf}
    good_s = -math.inf
    for beer, garage, pad, gap_s, count in stretches:
        for turn in range(count):
            now_s += gap_s if turn == 0 else TICK_S
            readings = tuple(
                Reading(role, now_s, fault=said)
                if isinstance(said, Fault)
                else Reading(role, now_s, value_c=said)
                for role, said in ((Role.BEER, beer), (Role.GARAGE, garage), (Role.PAD, pad))
            )
            if not isinstance(beer, Fault) and -20.0 <= beer <= 60.0:
                good_s = now_s
            before = state.applied
            state, decision = decide(plan, state, readings, Moment(now_s, now_s))
            command = decision.command
            assert not (command.heat and command.fan)
            if command.heat or command.fan:
                assert now_s - good_s <= 60.0
                assert decision.evidence.beer.value_c is not None
            if command.heat:
                assert decision.evidence.beer.value_c < limits.beer_c_max  # type: ignore[operator]
                assert decision.evidence.pad.value_c is not None
                assert decision.evidence.pad.value_c < limits.pad_c_max
                assert not decision.trips
            for name, least_s in (("heat", HEAT_DWELL_S), ("fan", FAN_DWELL_S)):
                was, is_on = getattr(before, name), getattr(command, name)
                if was == is_on:
                    continue
                is_safety_off = was and getattr(decision.permits, name) == 2
                assert is_safety_off or now_s - changed_s[name] >= least_s
                changed_s[name] = now_s
            state = replace(
                state,
                applied=Applied(command.heat, command.fan, True, True),
            )
