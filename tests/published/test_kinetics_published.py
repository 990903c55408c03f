"""Kinetics against what others have printed or computed; a computed row says so."""

from __future__ import annotations

from math import log

import pytest

from dashboard.fermentation.course.kinetics import (
    CARDINALS,
    Cardinal,
    Course,
    rate_share,
    yeast_14_plato,
)

ROSSO = "computed from Rosso, Lobry & Flandrois 1993, J. Theor. Biol. 162:447-463"
YEAST_14 = "computed from the four-parameter form of ASBC Yeast-14"
# Best and hottest of S. cerevisiae: Salvado et al. 2011; the coldest is assumed within their span.
CEREVISIAE = Cardinal(2.8, 32.3, 45.4)
KUDRIAVZEVII = Cardinal(4.3, 23.6, 36.8)  # Salvado et al. 2011, all three.
HOT = Cardinal(5.0, 37.5, 45.0)  # Assumed for a kveik.

# (cardinals, °C, rate over the best, source)
RATE_ROWS = [
    (CEREVISIAE, 5.0, 0.01391, ROSSO),
    (CEREVISIAE, 8.0, 0.07346, ROSSO),
    (CEREVISIAE, 9.0, 0.1024, ROSSO),
    (CEREVISIAE, 14.0, 0.2988, ROSSO),
    (CEREVISIAE, 18.0, 0.49486, ROSSO),
    (CEREVISIAE, 19.0, 0.5458, ROSSO),
    (CEREVISIAE, 23.0, 0.7428, ROSSO),
    (CEREVISIAE, 25.0, 0.83015, ROSSO),
    (CEREVISIAE, 29.0, 0.9604, ROSSO),
    (CEREVISIAE, 33.0, 0.998, ROSSO),
    (CEREVISIAE, 39.0, 0.7803, ROSSO),
    (CEREVISIAE, 41.0, 0.6084, ROSSO),
    (CEREVISIAE, 43.5, 0.3053, ROSSO),
    (HOT, 11.0, 0.0532, ROSSO),
    (HOT, 17.0, 0.2059, ROSSO),
    (HOT, 43.0, 0.6025, ROSSO),
]

# (Pe, PD, B, M, hour, °P, source)
LOGISTIC_ROWS = [
    (2.9, 9.4, 0.095, 52.0, 75.0, 3.8504, YEAST_14),
    (3.3, 8.1, 0.045, 88.0, 120.0, 4.8515, YEAST_14),
    (2.5, 9.9, 0.30, 12.0, 0.0, 12.1367, YEAST_14),
    (2.5, 9.9, 0.30, 12.0, 6.0, 10.9957, YEAST_14),
    (2.5, 9.9, 0.30, 12.0, 12.0, 7.45, YEAST_14),
    (2.5, 9.9, 0.30, 12.0, 30.0, 2.5445, YEAST_14),
]


@pytest.mark.parametrize(("cardinal", "beer_c", "share", "source"), RATE_ROWS)
def test_the_rate_at_a_temperature(cardinal, beer_c, share, source):
    assert rate_share(cardinal, beer_c) == pytest.approx(share, abs=5e-4), source


@pytest.mark.parametrize("cardinal", [CEREVISIAE, KUDRIAVZEVII, *CARDINALS.values()])
def test_the_cardinal_temperatures_are_what_the_paper_calls_them(cardinal):
    """Rosso 1993: no rate at and beyond the outer two, the most at the middle one."""
    assert rate_share(cardinal, cardinal.coldest_c) == 0.0
    assert rate_share(cardinal, cardinal.hottest_c) == 0.0
    assert rate_share(cardinal, cardinal.best_c) == pytest.approx(1.0)
    for step in range(1, 60):
        beer_c = cardinal.coldest_c + step / 60.0 * (cardinal.hottest_c - cardinal.coldest_c)
        assert 0.0 < rate_share(cardinal, beer_c) <= 1.0


@pytest.mark.parametrize(
    ("end", "drop", "rate", "middle", "hour", "plato", "source"), LOGISTIC_ROWS
)
def test_the_logistic(end, drop, rate, middle, hour, plato, source):
    assert yeast_14_plato(hour, end, drop, rate, middle) == pytest.approx(plato, abs=1e-3), source


@pytest.mark.parametrize(("rate", "turns"), [(0.28, 0.28 * 13.0), (0.095, 0.095 * 52.0)])
def test_a_course_is_the_same_logistic_begun_at_the_original(rate, turns):
    """A course fixes the original extract; the printed form fixes the upper asymptote."""
    course = Course(12.3, 2.9, rate, turns)
    upper = 12.3 + (12.3 - 2.9) / (2.718281828459045**turns)  # e^(-B M) of the drop is above it
    for hour in (0.0, 5.0, 20.0, 60.0, 100.0):
        printed = yeast_14_plato(hour, 2.9, upper - 2.9, rate, turns / rate)
        assert course.plato(hour) == pytest.approx(printed, abs=1e-9)


@pytest.mark.parametrize(("rate", "middle", "hour"), [(0.28, 13.0, 29.41), (0.095, 52.0, 100.37)])
def test_99_percent_of_the_logistic(rate, middle, hour):
    """Computed: M + ln(99) / B; a course that begins at the original gets there a little later."""
    assert middle + log(99.0) / rate == pytest.approx(hour, abs=0.02)
    course = Course(12.0, 2.5, rate, rate * middle)
    assert hour - 0.02 <= course.warm_h_at(0.99) < hour + 0.05 / rate


def test_the_steepest_fall_is_a_quarter_of_rate_times_drop():
    """Computed: B PD / 4 at the midpoint, 0.2233 °P/h for B 0.095 and PD 9.4."""
    course = Course(12.3, 2.9, 0.095, 0.095 * 52.0)
    assert course.fall_per_h(52.0) == pytest.approx(0.2233, abs=0.003)
    assert course.fall_per_h(52.0) >= course.fall_per_h(45.0)
    assert course.fall_per_h(52.0) >= course.fall_per_h(59.0)


def test_a_fast_kveik_finishes_in_the_time_that_was_measured():
    """D. Kits, published measurement: an isolate finished a 1.050 wort at 37.5 °C within 30 h. The
    quick end of our table must allow it: 36 h at 35 °C, and 37.5 °C is no slower.
    """
    hot = rate_share(CARDINALS["kveik"], 37.5) / rate_share(CARDINALS["kveik"], 35.0)
    assert 1.0 < hot < 1.1


@pytest.mark.parametrize("beer_c", [25.0, 30.0, 35.0, 40.0, 42.0])
def test_kveik_works_where_it_was_seen_to_work(beer_c):
    """Foster et al. 2022: efficient from 22 to 40 °C, three of six isolates also at 42 °C; no
    control strain at 42 °C.
    """
    assert rate_share(CARDINALS["kveik"], beer_c) > 0.4
    assert rate_share(CARDINALS["clean-ale"], 42.0) == 0.0


def test_kveik_slows_above_39_and_in_the_cool():
    """D. Kits: activity falls above 39 °C; Foster et al. 2022: near ordinary ale speed at 15 °C."""
    kveik = CARDINALS["kveik"]
    assert rate_share(kveik, 41.0) < rate_share(kveik, 39.0) < rate_share(kveik, 37.5)
    assert rate_share(kveik, 15.0) < 0.25
