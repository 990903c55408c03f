"""Extract from heat: made ferments whose watts are off by a known factor and offset."""

from __future__ import annotations

import random

import pytest

from dashboard.fermentation.course.heat_balance import (
    HeatStretch,
    heat_estimate,
    heat_per_plato,
    hourly_heat,
)
from dashboard.fermentation.course.kinetics import Course, Reading
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato

ORIGINAL_SG = 1.050
COURSE = Course(plato_from_sg(ORIGINAL_SG), 2.6, 0.16, 4.4)


def watts(until_h, factor=1.0, offset_w=0.0, sd_w=0.5, noise_w=0.0):
    """What a controller would publish each hour of a ferment that follows the course."""
    dice = random.Random(3)
    per_plato = heat_per_plato(ORIGINAL_SG, 20.0)
    found = []
    for hour in range(int(until_h)):
        true_w = (COURSE.plato(hour) - COURSE.plato(hour + 1)) * per_plato / 3600.0
        shown_w = true_w / factor + offset_w + dice.gauss(0.0, noise_w)
        found.append(HeatStretch(float(hour), hour + 1.0, shown_w, sd_w))
    return found


def readings(*hours):
    return [Reading(h, sg_from_plato(COURSE.plato(h))) for h in hours]


def test_right_watts_give_the_right_gravity_between_readings():
    found = heat_estimate(ORIGINAL_SG, 20.0, readings(12.0, 24.0), watts(30, noise_w=0.3), 30.0)
    assert found.why_not is None
    assert plato_from_sg(found.sg) == pytest.approx(COURSE.plato(30.0), abs=0.3)
    assert found.low_sg < found.sg < found.high_sg


@pytest.mark.parametrize(("factor", "offset_w"), [(1.3, 0.0), (0.8, 0.0), (1.0, 0.5), (1.2, -0.4)])
def test_watts_that_are_off_are_put_right_by_the_readings(factor, offset_w):
    """Against the same watts without readings to calibrate them."""
    heat = watts(40, factor, offset_w)
    taken = readings(12.0, 18.0, 24.0, 30.0)
    found = heat_estimate(ORIGINAL_SG, 20.0, taken, heat, 40.0)
    true = COURSE.plato(40.0)
    assert plato_from_sg(found.sg) == pytest.approx(true, abs=0.4)
    assert plato_from_sg(found.low_sg) <= true <= plato_from_sg(found.high_sg)
    blind = heat_estimate(ORIGINAL_SG, 20.0, [], heat, 40.0)
    assert abs(plato_from_sg(found.sg) - true) < abs(plato_from_sg(blind.sg) - true)


def test_the_band_grows_with_the_time_since_the_reading():
    heat = watts(40)
    sds = [heat_estimate(ORIGINAL_SG, 20.0, readings(12.0), heat, h).sd_plato for h in (12, 20, 40)]
    assert sds[0] < sds[1] < sds[2]


def test_a_hole_in_the_watts_is_not_shown():
    heat = [each for each in watts(40) if not 26 <= each.from_h < 36]
    found = heat_estimate(ORIGINAL_SG, 20.0, readings(12.0, 24.0), heat, 40.0)
    assert found.why_not is not None and "38%" in found.why_not


def test_watts_nobody_can_trust_are_not_shown():
    found = heat_estimate(ORIGINAL_SG, 20.0, [], watts(40, sd_w=8.0), 40.0)
    assert found.why_not is not None and "°P" in found.why_not


def test_no_heat_at_all_is_not_shown():
    assert heat_estimate(ORIGINAL_SG, 20.0, readings(12.0), [], 30.0).why_not is not None


def test_reports_are_gathered_into_hours():
    samples = [(7200.0 + 100.0 * k, 5.0 + k, 0.5) for k in range(3)] + [(-50.0, 9.0, 9.0)]
    assert hourly_heat(samples, 0.0) == (HeatStretch(2.0, 3.0, 6.0, 0.5),)
    assert hourly_heat([], 0.0) == ()


def test_for_the_forecast_it_is_a_reading_with_its_own_error():
    found = heat_estimate(ORIGINAL_SG, 20.0, readings(12.0), watts(30), 30.0)
    assert found.as_reading() == Reading(30.0, found.sg, found.sd_plato)
    assert found.sd_plato > Reading(0.0, 1.0).sd_plato
