"""Batches beside each other: by the clock the cold one is slow, by warmth it is not."""

from __future__ import annotations

import pytest

from dashboard.errors import EntryError
from dashboard.fermentation.compare import Ran, compare, degree_hours
from dashboard.fermentation.course.kinetics import CARDINALS, Course, Reading
from dashboard.fermentation.course.warmth import Warmth, clock_for
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from dashboard.fermentation.strains import strain

KVEIK = strain("kveik")


def ran(beer_c, name="x", kind=KVEIK):
    warmth = Warmth(((0.0, beer_c),), 300.0)
    clock = clock_for(kind, warmth)
    course = Course(plato_from_sg(1.050), 2.6, 0.16, 4.4)
    readings = tuple(
        Reading(h, sg_from_plato(course.plato(clock.warm_h(h)))) for h in range(6, 200, 6)
    )
    return Ran(name, kind, 1.050, readings, warmth)


def test_a_cold_batch_is_slow_by_the_clock_and_not_by_degree_hours():
    hot, cold = compare([ran(35.0, "hot"), ran(24.0, "cold")])
    assert cold.half_h > 1.8 * hot.half_h
    assert cold.half_degree_hours == pytest.approx(hot.half_degree_hours, rel=0.45)
    assert hot.marks[0].hour == 0.0 and hot.marks[0].attenuation == pytest.approx(0.0, abs=1e-6)
    shares = [mark.attenuation for mark in hot.marks]
    assert shares == sorted(shares) and shares[-1] == pytest.approx(0.79, abs=0.01)


def test_degree_hours_are_kelvins_above_the_coldest_times_hours():
    coldest_c = CARDINALS["kveik"].coldest_c
    warmth = Warmth(((0.0, 35.0), (10.0, 35.0), (10.0, 3.0), (20.0, 3.0)), 20.0)
    assert degree_hours(warmth, coldest_c, 10.0) == pytest.approx(10.0 * (35.0 - coldest_c))
    assert degree_hours(warmth, coldest_c, 20.0) == pytest.approx(10.0 * (35.0 - coldest_c))


def test_different_kinds_are_refused():
    with pytest.raises(EntryError, match="clean-ale, kveik"):
        compare([ran(35.0), ran(19.0, kind=strain("clean-ale"))])


@pytest.mark.parametrize("count", [0, 13])
def test_none_or_too_many_are_refused(count):
    with pytest.raises(EntryError):
        compare([ran(35.0)] * count)


def test_a_batch_without_readings_has_no_half():
    (lane,) = compare([Ran("new", KVEIK, 1.050, (), Warmth(((0.0, 35.0),), 1.0))])
    assert lane.half_h is None and lane.half_degree_hours is None and len(lane.marks) == 1
