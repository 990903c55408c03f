"""The posterior against the truth that made the readings, and against brute force."""

from __future__ import annotations

import random
from math import exp, hypot, log

import pytest

from dashboard.fermentation.course.kinetics import Course, Reading
from dashboard.fermentation.course.posterior import (
    MISFIT_PLATO,
    TAIL,
    Posterior,
    posterior_of,
    quantile,
    quantiles,
)
from dashboard.fermentation.course.prior import DIMENSIONS, normals, prior_for
from dashboard.fermentation.course.warmth import Warmth, clock_for
from dashboard.fermentation.gravity import sg_from_plato
from dashboard.fermentation.strains import strain

KVEIK = strain("kveik")
PRIOR = prior_for(KVEIK, 1.050)
CLOCK = clock_for(KVEIK, Warmth(((0.0, 35.0),), 0.0))
TRUTH = Course(PRIOR.original_plato, 2.4, 0.16, 4.2)


def readings_of(course, hours, noise=0.0):
    dice = random.Random(5)
    return [Reading(h, sg_from_plato(course.plato(h) + dice.gauss(0.0, noise))) for h in hours]


def median_end(posterior: Posterior):
    return quantile([each.final_plato for each in posterior.courses], posterior.weights, 0.5)


def median_hour(posterior: Posterior, share):
    hours = [each.warm_h_at(share) for each in posterior.courses]
    return quantile(hours, posterior.weights, 0.5)


def test_without_readings_it_is_the_prior():
    posterior = posterior_of(PRIOR, [], CLOCK)
    assert posterior.effective > 0.99 * len(posterior.weights)
    for axis in range(DIMENSIONS):
        assert posterior.mean(axis) == pytest.approx(0.0, abs=0.05)
        assert posterior.sd(axis) == pytest.approx(1.0, abs=0.05)


def test_many_readings_give_back_the_course_they_came_from():
    hours = [6.0 * k for k in range(1, 11)]
    posterior = posterior_of(PRIOR, readings_of(TRUTH, hours, 0.1), CLOCK)
    assert sum(posterior.weights) == pytest.approx(1.0)
    assert posterior.effective > 100.0
    assert median_end(posterior) == pytest.approx(2.4, abs=0.3)
    for share in (0.2, 0.5, 0.8):
        found = median_hour(posterior, share)
        assert found == pytest.approx(TRUTH.warm_h_at(share), abs=1.5)


def test_it_is_what_brute_force_finds():
    """60,000 plain draws of the prior, weighted by the same likelihood written out again."""
    seen = readings_of(TRUTH, [10.0, 20.0])
    dice = random.Random(1)
    values, weights = [], []
    for _ in range(60_000):
        course = PRIOR.course([dice.gauss(0.0, 1.0) for _ in range(DIMENSIONS)])
        total = 0.0
        for each in seen:
            share = course.share_done(each.hour)
            sd = hypot(each.sd_plato, MISFIT_PLATO * 4.0 * share * (1.0 - share))
            off = (each.plato - course.plato(each.hour)) / sd
            total -= log(sd) + (TAIL + 1.0) / 2.0 * log(1.0 + off * off / TAIL)
        values.append(course.warm_h_at(2 / 3))
        weights.append(exp(total))
    whole = sum(weights)
    brute = quantiles(values, [each / whole for each in weights], (0.1, 0.5, 0.9))
    posterior = posterior_of(PRIOR, seen, CLOCK)
    ours = quantiles(
        [c.warm_h_at(2 / 3) for c in posterior.courses], posterior.weights, (0.1, 0.5, 0.9)
    )
    width_h = brute[2] - brute[0]
    for mine, theirs in zip(ours, brute, strict=True):
        assert mine == pytest.approx(theirs, abs=0.1 * width_h)


def test_the_same_readings_give_the_same_answer():
    seen = readings_of(TRUTH, [8.0, 16.0])
    assert posterior_of(PRIOR, seen, CLOCK) == posterior_of(PRIOR, seen, CLOCK)


def test_one_slip_of_the_pen_does_not_bend_the_course():
    hours = [6.0 * k for k in range(1, 9)]
    seen = readings_of(TRUTH, hours)
    slipped = [*seen]
    slipped[4] = Reading(seen[4].hour, seen[4].sg + 0.020)
    one, other = (posterior_of(PRIOR, each, CLOCK) for each in (seen, slipped))
    for share in (1 / 3, 2 / 3):
        right, bent = (median_hour(each, share) for each in (one, other))
        assert bent == pytest.approx(right, abs=2.0)


def test_a_reading_in_the_cold_says_little_of_the_pace():
    """A still gravity at 4 °C is what every course says; the same at 35 °C is a late one."""
    cold = clock_for(KVEIK, Warmth(((0.0, 4.0), (40.0, 4.0)), 40.0))
    still = [Reading(36.0, 1.050)]
    assert posterior_of(PRIOR, still, cold).mean(1) == pytest.approx(0.0, abs=0.1)
    assert posterior_of(PRIOR, still, CLOCK).mean(1) > 0.8


def test_points_are_spread_like_normals():
    drawn = normals(1000, DIMENSIONS)
    for axis in range(DIMENSIONS):
        column = sorted(each[axis] for each in drawn)
        assert sum(column) / 1000 == pytest.approx(0.0, abs=0.02)
        assert column[158] == pytest.approx(-1.0, abs=0.05)
        assert column[841] == pytest.approx(1.0, abs=0.05)
    cross = sum(each[0] * each[1] for each in drawn) / 1000
    assert cross == pytest.approx(0.0, abs=0.05)


def test_quantiles_heed_the_weights():
    assert quantiles([3.0, 1.0, 2.0], [0.1, 0.6, 0.3], (0.5, 0.7, 0.95)) == [1.0, 2.0, 3.0]
    assert quantile([1.0, 2.0], [1.0, 0.0], 0.9) == 1.0
