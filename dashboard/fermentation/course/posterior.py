"""Posterior: which courses are likely once readings are in.

Importance sampling in rounds: the likelihood is let in by degrees, each round draws round what the
one before found, with quasi-random points, so that equal readings give equal answers. Plain
arithmetic, tens of milliseconds. It says how likely, never what to do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, hypot, log, sqrt

from dashboard.fermentation.course.kinetics import Course, Reading
from dashboard.fermentation.course.prior import DIMENSIONS, Prior, normals
from dashboard.fermentation.course.warmth import WarmClock

DRAWS = 800  # Why: windows then move by less than an hour when it is doubled (test_posterior).
SCOUTS = 400  # Why: enough to find where the next round must look.
ROUNDS_MAX = 8  # Why: ten precise readings need five.
EFFECTIVE_MIN = 60.0  # Why: fewer points than this make no covariance of four numbers.
SPREAD = 1.4  # Why: drawing wider than what is sought costs points; drawing narrower lies.
# Why: what a logistic misses of a real ferment at half way (open series: fits leave 0.07 to 0.29).
MISFIT_PLATO = 0.3
READINGS_MAX = 200  # Why: two a day for three months; more are thinned by their writer.
# Why: degrees of freedom of Student's t: a reading five times its sd off is a slip, and may not
# bend the whole course.
TAIL = 5.0

Normals = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Posterior:
    """Courses with their weights, which add up to 1, and the normals each came from."""

    courses: tuple[Course, ...]
    weights: tuple[float, ...]
    normals: tuple[Normals, ...]

    @property
    def effective(self) -> float:
        """How many equally likely draws it is worth."""
        return 1.0 / sum(weight * weight for weight in self.weights)

    def mean(self, axis: int) -> float:
        """The mean of one of the prior's standard normals: 0 is as expected, 1 a batch in six."""
        pairs = zip(self.weights, self.normals, strict=True)
        return sum(weight * each[axis] for weight, each in pairs)

    def sd(self, axis: int) -> float:
        """The standard deviation of the same; 1 is nothing learnt."""
        mean = self.mean(axis)
        pairs = zip(self.weights, self.normals, strict=True)
        return sqrt(sum(weight * (each[axis] - mean) ** 2 for weight, each in pairs))


def posterior_of(prior: Prior, readings: Sequence[Reading], clock: WarmClock) -> Posterior:
    """What these readings make of the prior, along these temperatures. No readings: the prior."""
    used = [reading for reading in readings if reading.hour >= 0.0][-READINGS_MAX:]
    seen = [(clock.warm_h(each.hour), each.plato, each.sd_plato) for each in used]
    centre = [0.0] * DIMENSIONS
    factor = [[float(row == column) for column in range(DIMENSIONS)] for row in range(DIMENSIONS)]
    share = 0.0 if seen else 1.0
    for turn in range(ROUNDS_MAX):
        is_last = share >= 1.0 or turn == ROUNDS_MAX - 1
        drawn = normals(DRAWS if is_last else SCOUTS, DIMENSIONS)
        points = [_moved(centre, factor, each) for each in drawn]
        courses = [prior.course(point) for point in points]
        likely = [_log_likelihood(course, seen) for course in courses]
        odds = [_log_odds(point, each) for point, each in zip(points, drawn, strict=True)]
        if is_last:
            logs = [fit + odd for fit, odd in zip(likely, odds, strict=True)]
            return Posterior(tuple(courses), tuple(_weights(logs)), tuple(points))
        share = _bearable_share(likely, odds, share)
        logs = [share * fit + odd for fit, odd in zip(likely, odds, strict=True)]
        centre, factor = _moments(points, _weights(logs))
    raise AssertionError("the last round returns")


def quantile(values: Sequence[float], weights: Sequence[float], share: float) -> float:
    """The value below which this share (0 to 1) of the weight lies."""
    return quantiles(values, weights, (share,))[0]


def quantiles(
    values: Sequence[float], weights: Sequence[float], shares: Sequence[float]
) -> list[float]:
    """The values below which these rising shares of the weight lie."""
    found: list[float] = []
    total = 0.0
    order = sorted(range(len(values)), key=values.__getitem__)
    for index in order:
        total += weights[index]
        while len(found) < len(shares) and total >= shares[len(found)]:
            found.append(values[index])
    found.extend([values[order[-1]]] * (len(shares) - len(found)))
    return found


def _log_likelihood(course: Course, seen: Sequence[tuple[float, float, float]]) -> float:
    """How well the course meets the readings; each counts for less the further out it lies."""
    total = 0.0
    for warm_h, plato, sd_plato in seen:
        share = course.share_done(warm_h)
        expected = course.original_plato - (course.original_plato - course.final_plato) * share
        sd = hypot(sd_plato, MISFIT_PLATO * 4.0 * share * (1.0 - share))
        off = (plato - expected) / sd
        total -= log(sd) + (TAIL + 1.0) / 2.0 * log(1.0 + off * off / TAIL)
    return total


def _log_odds(point: Sequence[float], drawn: Sequence[float]) -> float:
    """The prior over the density the point was drawn from, but for a constant."""
    return 0.5 * (sum(each * each for each in drawn) - sum(each * each for each in point))


def _bearable_share(likely: Sequence[float], odds: Sequence[float], before: float) -> float:
    """How much of the likelihood can be let in and still leave enough points with weight."""
    measure: Callable[[float], float] = lambda share: _effective(  # noqa: E731
        [share * fit + odd for fit, odd in zip(likely, odds, strict=True)]
    )
    if measure(1.0) >= EFFECTIVE_MIN:
        return 1.0
    low, high = before, 1.0
    for _ in range(12):
        middle = (low + high) / 2.0
        low, high = (middle, high) if measure(middle) >= EFFECTIVE_MIN else (low, middle)
    return max(low, before + 1e-3)


def _effective(logs: Sequence[float]) -> float:
    return 1.0 / sum(weight * weight for weight in _weights(logs))


def _weights(logs: Sequence[float]) -> list[float]:
    top = max(logs)
    raw = [exp(each - top) for each in logs]
    total = sum(raw)
    return [each / total for each in raw]


def _moments(
    points: Sequence[Normals], weights: Sequence[float]
) -> tuple[list[float], list[list[float]]]:
    """The weighted mean, and a root of the widened covariance (Cholesky, lower)."""
    axes = range(DIMENSIONS)
    pairs = list(zip(weights, points, strict=True))
    centre = [sum(weight * point[axis] for weight, point in pairs) for axis in axes]
    factor = [[0.0] * DIMENSIONS for _ in axes]
    for row in axes:
        for column in range(row + 1):
            covariance = SPREAD * sum(
                weight * (point[row] - centre[row]) * (point[column] - centre[column])
                for weight, point in pairs
            )
            rest = covariance - sum(factor[row][k] * factor[column][k] for k in range(column))
            if row == column:
                factor[row][row] = sqrt(max(rest, 1e-4))
            else:
                factor[row][column] = rest / factor[column][column]
    return centre, factor


def _moved(
    centre: Sequence[float], factor: Sequence[Sequence[float]], drawn: Sequence[float]
) -> Normals:
    return tuple(
        centre[row] + sum(factor[row][column] * drawn[column] for column in range(row + 1))
        for row in range(len(centre))
    )
