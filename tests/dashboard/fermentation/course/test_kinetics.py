"""A course: from 0 to 1, never back, and its own inverse."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.fermentation.course.kinetics import CARDINALS, Course, Reading, rate_for
from dashboard.fermentation.strains import strains

courses = st.builds(
    Course,
    original_plato=st.floats(8.0, 25.0),
    final_plato=st.floats(-1.0, 5.0),
    rate_per_h=st.floats(0.005, 1.0),
    lag_turns=st.floats(0.7, 12.0),
    skew=st.floats(0.3, 3.0),
)


@given(courses, st.floats(0.0, 2000.0), st.floats(0.0, 200.0))
def test_it_begins_at_the_original_and_only_falls(course, hour, more_h):
    assert course.plato(0.0) == pytest.approx(course.original_plato)
    assert course.plato(-5.0) == pytest.approx(course.original_plato)
    assert course.plato(hour + more_h) <= course.plato(hour) + 1e-9
    assert course.final_plato - 1e-9 <= course.plato(hour) <= course.original_plato + 1e-9


@given(courses, st.floats(0.001, 0.995))
def test_the_hour_of_a_share_has_that_share(course, share):
    assert course.share_done(course.warm_h_at(share)) == pytest.approx(share, abs=1e-6)


@given(courses, st.floats(1.0, 500.0))
def test_how_fast_it_falls_is_its_slope(course, hour):
    width_h = 1e-3
    slope = (course.plato(hour - width_h) - course.plato(hour + width_h)) / (2.0 * width_h)
    assert course.fall_per_h(hour) == pytest.approx(slope, abs=1e-5 + 1e-3 * slope)


@given(st.floats(10.0, 2000.0), st.floats(0.7, 9.0), st.floats(0.4, 2.5))
def test_a_rate_is_found_for_a_length(terminal_h, lag_turns, skew):
    rate = rate_for(terminal_h, lag_turns, skew, 0.97)
    course = Course(12.0, 2.0, rate, lag_turns, skew)
    assert course.share_done(terminal_h) == pytest.approx(0.97, abs=1e-9)


def test_a_greater_skew_ends_more_sharply():
    """Of the time from half to the end, seen from the time to the half."""

    def tail(skew):
        course = Course(12.0, 2.0, 0.1, 4.0, skew)
        half_h = course.warm_h_at(0.5)
        return (course.warm_h_at(0.95) - half_h) / half_h

    assert tail(2.0) < tail(1.0) < tail(0.5)


def test_every_kind_of_yeast_has_cardinal_temperatures_round_its_range():
    assert set(CARDINALS) == {kind.slug for kind in strains()}
    for kind in strains():
        cardinal = CARDINALS[kind.category]
        assert cardinal.coldest_c < kind.expected.floor_c
        assert kind.expected.ceiling_c < cardinal.hottest_c
        assert kind.low_c < cardinal.best_c


def test_a_reading_knows_its_extract():
    assert Reading(0.0, 1.048).plato == pytest.approx(11.9, abs=0.05)
