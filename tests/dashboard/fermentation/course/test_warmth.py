"""Warm hours: counted forward and back, over gaps, plans and steps."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.beerjson import Profile, Step
from dashboard.facts import Bucket
from dashboard.fermentation.course.kinetics import CARDINALS, rate_share
from dashboard.fermentation.course.warmth import (
    Warmth,
    between,
    clock_for,
    planned_points,
    warmth_of,
)
from dashboard.fermentation.strains import strain

PITCHED_S = 1_767_300_000.0
KVEIK = strain("kveik")


def bucket(hour, beer_c, target_c=35.0):
    return Bucket(PITCHED_S + hour * 3600.0, beer_c, beer_c, beer_c, 3.0, target_c, 0.4, 0.0)


def test_at_the_usual_temperature_a_warm_hour_is_an_hour():
    clock = clock_for(KVEIK, Warmth(((0.0, 35.0), (200.0, 35.0)), 0.0))
    for hour in (0.0, 1.0, 17.3, 200.0, 900.0):
        assert clock.warm_h(hour) == pytest.approx(hour)
        assert clock.hour(hour) == pytest.approx(hour)
    assert clock.warm_h(-3.0) == 0.0


def test_a_cold_night_counts_for_less():
    cardinal = CARDINALS["kveik"]
    worth = rate_share(cardinal, 22.0) / rate_share(cardinal, 35.0)
    points = ((0.0, 35.0), (10.0, 35.0), (10.001, 22.0), (20.0, 22.0), (20.001, 35.0), (40.0, 35.0))
    clock = clock_for(KVEIK, Warmth(points, 40.0))
    assert worth < 0.5
    assert clock.warm_h(40.0) == pytest.approx(30.0 + 10.0 * worth, abs=0.6)


@given(
    st.lists(st.floats(6.0, 44.0), min_size=2, max_size=30),
    st.floats(0.0, 1.0),
)
def test_an_hour_found_back_is_the_hour_asked_for(temperatures, where):
    points = tuple((3.0 * index, beer_c) for index, beer_c in enumerate(temperatures))
    clock = clock_for(KVEIK, Warmth(points, 0.0))
    warm_h = where * clock.warm_h(points[-1][0])
    found = clock.hour(warm_h)
    assert found is not None
    assert clock.warm_h(found) == pytest.approx(warm_h, abs=1e-6)


def test_too_cold_at_the_end_of_the_plan_is_never():
    clock = clock_for(KVEIK, Warmth(((0.0, 35.0), (10.0, 35.0), (12.0, 4.0)), 12.0))
    assert clock.hour(5.0) == pytest.approx(5.0)
    assert clock.hour(50.0) is None


def test_history_is_measured_then_planned():
    buckets = [bucket(hour, 34.0) for hour in range(-3, 6)]
    plan = ((0.0, 33.0), (6.0, 33.0), (18.0, 35.0))
    warmth = warmth_of(buckets, PITCHED_S, PITCHED_S + 5.5 * 3600.0, plan)
    assert warmth.points[0] == (0.0, 34.0)
    assert warmth.at(4.5) == 34.0
    assert warmth.at(12.0) == pytest.approx(34.0)
    assert warmth.at(100.0) == 35.0
    assert warmth.measured_h == pytest.approx(5.5)
    assert warmth.missing_h == 0.0


def test_without_a_plan_it_stays_as_it_is_and_a_gap_is_bridged_and_counted():
    buckets = [
        bucket(0, 30.0),
        bucket(1, 30.0),
        bucket(11, 20.0),
        bucket(12, None),
        bucket(13, 20.0),
    ]
    warmth = warmth_of(buckets, PITCHED_S, PITCHED_S + 13.5 * 3600.0)
    assert warmth.at(6.0) == pytest.approx(25.0)
    assert warmth.at(500.0) == 20.0
    assert warmth.missing_h == pytest.approx(10.0)


def test_nothing_measured_and_nothing_planned_is_the_usual_temperature():
    assert warmth_of([], PITCHED_S, PITCHED_S, usual_c=35.0).at(7.0) == 35.0


def test_the_plan_of_a_procedure_ends_at_its_first_open_step():
    profile = Profile(
        "x",
        (
            Step("pitch", 33.0, 33.0, 6 * 3600.0),
            Step("rise", 33.0, 35.0, 12 * 3600.0),
            Step("hold", 35.0, 35.0, None),
        ),
    )
    assert planned_points(profile) == (
        (0.0, 33.0),
        (6.0, 33.0),
        (6.0, 33.0),
        (18.0, 35.0),
        (18.0, 35.0),
    )


def test_between_points_lies_a_straight_line_and_a_step_is_a_step():
    points = ((0.0, 10.0), (10.0, 20.0), (10.0, 30.0))
    assert between(points, -1.0) == 10.0
    assert between(points, 5.0) == 15.0
    assert between(points, 10.0) == 30.0
    assert between(points, 99.0) == 30.0
