from __future__ import annotations

import math
from dataclasses import replace

import pytest

from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.reach import Reach, Surroundings, reach

# 60 W over 0.8 W/K lift the beer 75 K above the garage.
VESSEL = replace(vessel_of(VesselSettings(20.0, 60.0)), loss_w_per_k=0.8, capacity_j_per_k=86_400.0)
WINTER = Surroundings(30.0, 35.0, 3.0, -2.0, share_sd=0.1)


def test_the_coldest_garage_and_the_warmest_beer_follow_from_watts_over_loss() -> None:
    found = reach(VESSEL, WINTER)
    assert found.garage_c == pytest.approx(35.0 - 75.0)
    assert found.garage_sd_k == pytest.approx(7.5)
    assert found.beer_c == pytest.approx(-2.0 + 75.0)
    assert found.spare_w == pytest.approx(60.0 - 0.8 * 32.0)
    assert found.highest_c == pytest.approx(78.0)


def test_what_would_help_is_said_in_watts_and_in_watts_per_kelvin() -> None:
    weak = replace(VESSEL, pad_w=20.0)
    found = reach(weak, replace(WINTER, ferment_w=2.0))
    assert found.spare_w == pytest.approx(22.0 - 25.6)
    assert found.loss_w_per_k_max == pytest.approx(22.0 / 32.0)
    assert replace(weak, loss_w_per_k=22.0 / 32.0).hold_duty(35.0, 3.0) == pytest.approx(1.1)
    assert found.hours_to_target is None


def test_hours_to_target_solve_the_step_response_of_one_lump() -> None:
    hours = reach(VESSEL, WINTER).hours_to_target
    assert hours is not None
    seconds = hours * 3600.0 - VESSEL.delay_s
    beer_c = 78.0 + (30.0 - 78.0) * math.exp(-seconds * 0.8 / 86_400.0)
    assert beer_c == pytest.approx(35.0, abs=1e-6)


@pytest.mark.parametrize(("beer_c", "hours"), [(34.9, 0.0), (35.1, 0.0), (36.0, None)])
def test_beer_at_its_target_is_there_and_warmer_beer_is_no_question_of_heat(
    beer_c: float, hours: float | None
) -> None:
    assert reach(VESSEL, replace(WINTER, beer_c=beer_c)).hours_to_target == hours


def test_what_would_take_months_is_not_given_in_hours() -> None:
    # The end lies a hair above the target: the last of the way takes for ever.
    barely = replace(VESSEL, pad_w=0.8 * 32.0 + 1e-18 + 1e-14, capacity_j_per_k=8.64e6)
    assert reach(barely, WINTER).hours_to_target is None


def test_what_is_not_known_is_left_out() -> None:
    assert reach(VESSEL, replace(WINTER, target_c=None)) == Reach(beer_c=73.0)
    assert reach(VESSEL, Surroundings(30.0, None, None, None)) == Reach()
    assert reach(VESSEL, Surroundings(30.0, 35.0, None, None, share_sd=0.1)) == Reach(
        pytest.approx(-40.0), pytest.approx(7.5)
    )
    assert reach(VESSEL, replace(WINTER, beer_c=None)).hours_to_target is None


def test_in_a_garage_warmer_than_the_target_no_loss_is_too_great() -> None:
    found = reach(VESSEL, replace(WINTER, garage_c=36.0))
    assert found.loss_w_per_k_max is None
    assert found.spare_w is not None and found.spare_w > 60.0
