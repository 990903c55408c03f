"""When the beer may be expected, against the closed form and a stepped balance of the same lump."""

from __future__ import annotations

import math

import pytest

from controller.thermal.arrival import NEAR_K, arrival_s
from controller.thermal.model import VesselSettings, vessel_of

VESSEL = vessel_of(VesselSettings(20.0, 60.0))


def stepped_s(beer_c: float, target_c: float, garage_c: float, watts: float) -> float:
    """The same balance, one second at a time."""
    passed_s = 0.0
    while abs(beer_c - target_c) > NEAR_K:
        loss_w = VESSEL.loss_w_per_k * (beer_c - garage_c)
        beer_c += (watts - loss_w) / VESSEL.capacity_j_per_k * 10.0
        passed_s += 10.0
    return passed_s + VESSEL.delay_s


@pytest.mark.parametrize(
    ("beer_c", "target_c", "garage_c", "watts"),
    [(20.0, 35.0, 3.0, 60.0), (35.0, 20.0, 5.0, 0.0), (30.0, 31.0, -10.0, 60.0)],
)
def test_it_agrees_with_a_stepped_balance(
    beer_c: float, target_c: float, garage_c: float, watts: float
) -> None:
    found = arrival_s(VESSEL, beer_c, target_c, garage_c)
    assert found == pytest.approx(stepped_s(beer_c, target_c, garage_c, watts), rel=0.01)


def test_what_is_there_has_arrived_and_what_cannot_get_there_never_does() -> None:
    assert arrival_s(VESSEL, 35.3, 35.0, 3.0) == 0.0
    assert arrival_s(VESSEL, 35.0, 20.0, 22.0) is None
    assert arrival_s(VESSEL, 20.0, 35.0, -60.0) is None


def test_without_a_garage_warming_is_counted_without_loss_and_cooling_is_unknown() -> None:
    found = arrival_s(VESSEL, 20.0, 35.0, None)
    assert found == pytest.approx(VESSEL.delay_s + 14.5 / VESSEL.rise_k_per_s)
    assert arrival_s(VESSEL, 35.0, 20.0, None) is None
    assert math.isfinite(found or math.nan)
