"""What the effect stage finds, and that it finds nothing in sound vessels."""

from __future__ import annotations

import math

import pytest

from controller.decision.vocabulary import Role
from tests.controller.decision.driving import Drive, hold, plan_for


def first_trip_h(drive: Drive, code: str) -> float:
    for place, decision in enumerate(drive.decisions):
        if any(t.code == code and t.state == "tripped" for t in decision.transitions):
            return place / 360.0
    return math.inf


@pytest.mark.parametrize("volume_l", [5.0, 20.0, 40.0])
def test_a_dead_pad_is_noticed_during_the_warm_up(volume_l: float) -> None:
    drive = Drive(
        plan_for(hold(35.0), volume_l=volume_l, pad_w=volume_l * 3), beer_c=12.0, pad_works=False
    ).run(4)
    codes = ("heat-without-effect", "beer-frozen")
    assert min(first_trip_h(drive, code) for code in codes) < 2.0
    assert not drive.decisions[-1].command.heat


def test_a_pad_stuck_on_at_hold_is_noticed_within_the_half_hour() -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=34.8).run(6)
    drive.pad_sticks = True
    before = len(drive.decisions)
    drive.run(2)
    took_h = first_trip_h(drive, "heat-while-off") - before / 360.0
    assert 0.0 < took_h < 0.75


def test_a_nearly_empty_vessel_is_noticed_by_its_haste() -> None:
    plan = plan_for(hold(35.0))
    drive = Drive(plan, beer_c=15.0)
    little = plan_for(hold(35.0), volume_l=2.5, pad_w=60.0).regulator.vessel

    class Little(Drive):
        def _warm(self) -> None:
            real, self.plan = self.plan, plan_for(hold(35.0), volume_l=2.5, pad_w=60.0)
            super()._warm()
            self.plan = real

    drive = Little(plan, beer_c=15.0, loss_w_per_k=0.3).run(1.5)
    assert little.rise_k_per_s > 5 * plan.regulator.vessel.rise_k_per_s
    assert first_trip_h(drive, "rise-too-fast") < 0.6


def test_a_probe_out_of_its_well_cuts_the_heat_within_five_minutes() -> None:
    out_s = 1000.0 + 2 * 3600.0

    def says(role: Role, mono_s: float, value_c: float) -> float:
        if role is not Role.BEER or mono_s < out_s:
            return value_c
        return 5.0 + (value_c - 5.0) * math.exp(-(mono_s - out_s) / 360.0)

    drive = Drive(plan_for(hold(35.0)), beer_c=34.9, says=says).run(4)
    assert 2.0 <= first_trip_h(drive, "fall-too-fast") < 2.0 + 5.0 / 60.0
    assert not any(d.command.heat for d in drive.decisions[int(2.1 * 360) :])


@pytest.mark.parametrize("loss_w_per_k", [0.6, 2.1])
@pytest.mark.parametrize("ferment_w", [0.0, 14.0])
@pytest.mark.parametrize("has_garage_probe", [True, False])
def test_a_sound_vessel_never_trips(
    loss_w_per_k: float, ferment_w: float, has_garage_probe: bool
) -> None:
    drive = Drive(
        plan_for(hold(35.0)),
        beer_c=18.0,
        garage_c=lambda s: 3.0 + 6.0 * math.cos(s / 6_000.0),
        loss_w_per_k=loss_w_per_k,
        ferment_w=ferment_w,
        roles=(Role.BEER, Role.GARAGE) if has_garage_probe else (Role.BEER,),
    ).run(24)
    assert drive.codes("tripped") == []


@pytest.mark.parametrize("fall_k", [1.4, 2.1, 2.7])
def test_a_litre_or_two_of_cold_water_is_not_taken_for_a_dead_pad(fall_k: float) -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=34.9).run(3)
    drive.beer_c -= fall_k
    drive.run(6)
    assert drive.codes("tripped") == []


def test_a_strong_fan_is_not_taken_for_a_dead_pad() -> None:
    drive = Drive(
        plan_for(hold(18.0)),
        beer_c=24.0,
        garage_c=lambda _: -5.0,
        fan_w_per_k=6.0,
        ferment_w=10.0,
    ).run(12)
    assert drive.codes("tripped") == []


def test_a_jacket_wide_open_makes_beer_fall_as_fast_as_a_small_vessel_may() -> None:
    """With the pad on and still falling, the smallest capacity is what a sound vessel may have."""
    drive = Drive(plan_for(hold(35.0)), beer_c=35.0, garage_c=lambda _: -5.0, loss_w_per_k=3.5)
    drive.run(3.0)
    assert drive.codes("tripped") == []
    assert drive.beers_c[-1] < 33.0
