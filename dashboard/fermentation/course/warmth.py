"""Warmth: the temperatures a beer had and will have, and the warm hours they are worth.

It joins what was measured to what is planned, bridges gaps by a straight line (and says how long
they were) and counts warm hours forward and back. It measures nothing and plans nothing; after its
last point a beer keeps that temperature.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from controller.beerjson import Profile
from dashboard.facts import Bucket
from dashboard.fermentation.course.kinetics import CARDINALS, Cardinal, rate_share
from dashboard.fermentation.strains import Strain

HOUR_S = 3600.0  # Why: a definition.
STEP_H = 1.0  # Why: a beer of 20 L moves less than a kelvin in an hour.
LIVED_H_MAX = 24.0 * 400  # Why: a mixed culture takes half a year; more points fill no curve.
GAP_H = 2.5  # Why: two missing hours are a power cut, and a straight line across them is right.

Point = tuple[float, float]  # hours since pitching, °C


@dataclass(frozen=True, slots=True)
class Warmth:
    """Temperatures at hours since pitching, in order, straight lines between them.

    `measured_h` is up to where they were measured, `missing_h` how many of those hours were not.
    """

    points: tuple[Point, ...]
    measured_h: float
    missing_h: float = 0.0

    def at(self, hour: float) -> float:
        """The temperature then, in °C; the first one before the first, the last after the last."""
        return between(self.points, hour)


class WarmClock:
    """Hours since pitching against warm hours, for one kind of yeast in one beer."""

    __slots__ = ("_hours", "_last_share", "_warm", "cardinal", "usual_share", "warmth")

    def __init__(self, warmth: Warmth, cardinal: Cardinal, usual_c: float) -> None:
        self.warmth, self.cardinal = warmth, cardinal
        self.usual_share = rate_share(cardinal, usual_c)
        assert self.usual_share > 0.0, usual_c
        end_h = min(max(warmth.points[-1][0], 0.0), LIVED_H_MAX)
        steps = max(1, ceil(end_h / STEP_H))
        self._hours = [end_h * index / steps for index in range(steps + 1)]
        shares = [self.share_at(hour) for hour in self._hours]
        self._warm = [0.0]
        for index in range(steps):
            mean = (shares[index] + shares[index + 1]) / 2.0
            self._warm.append(self._warm[-1] + mean * end_h / steps)
        self._last_share = shares[-1]

    def share_at(self, hour: float) -> float:
        """What an hour then is worth in warm hours."""
        return rate_share(self.cardinal, self.warmth.at(hour)) / self.usual_share

    def warm_h(self, hour: float) -> float:
        """The warm hours from pitching until then; before pitching 0."""
        if hour >= self._hours[-1]:
            return self._warm[-1] + (hour - self._hours[-1]) * self._last_share
        return _interpolated(self._hours, self._warm, max(hour, 0.0))

    def hour(self, warm_h: float) -> float | None:
        """When so many warm hours are over, in hours since pitching; None: never, it is too cold
        or too hot at the end of what is planned.
        """
        if warm_h > self._warm[-1]:
            if self._last_share <= 0.0:
                return None
            return self._hours[-1] + (warm_h - self._warm[-1]) / self._last_share
        return _interpolated(self._warm, self._hours, warm_h)


def clock_for(strain: Strain, warmth: Warmth) -> WarmClock:
    """The clock of this kind of yeast along these temperatures."""
    return WarmClock(warmth, CARDINALS[strain.category], strain.expected.usual_c)


def warmth_of(
    buckets: Iterable[Bucket],
    pitched_utc_s: float,
    now_utc_s: float,
    planned: Sequence[Point] = (),
    usual_c: float = 20.0,
) -> Warmth:
    """What a batch lived through and has ahead of it.

    Args:
        buckets: of one chamber, in order; those before pitching are left out.
        pitched_utc_s: when the batch's hours begin.
        now_utc_s: when its past ends.
        planned: the targets from pitching on (`planned_points`); empty: it stays as it is.
        usual_c: what to take when nothing was measured or planned.
    """
    now_h = max(0.0, (now_utc_s - pitched_utc_s) / HOUR_S)
    lived: list[Point] = []
    missing_h, before_h = 0.0, 0.0
    for bucket in buckets:
        hour = (bucket.start_utc_s - pitched_utc_s) / HOUR_S
        if bucket.beer_mean_c is None or not 0.0 <= hour <= now_h:
            continue
        if hour - before_h > GAP_H:
            missing_h += hour - before_h
        lived.append((hour, bucket.beer_mean_c))
        before_h = hour
    if now_h - before_h > GAP_H:
        missing_h += now_h - before_h
    last_h = lived[-1][0] if lived else 0.0
    ahead = [(hour, beer_c) for hour, beer_c in planned if hour > last_h + STEP_H]
    if planned and last_h < now_h:
        ahead.insert(0, (last_h + STEP_H, between(planned, last_h + STEP_H)))
    points = [*lived, *ahead] or [(0.0, usual_c)]
    return Warmth(tuple(points), now_h, missing_h)


def planned_points(profile: Profile) -> tuple[Point, ...]:
    """The targets of a procedure, in hours since pitching, as if every step took its whole time.

    A step that ends at a gravity but names no time is taken as the last one.
    """
    points: list[Point] = []
    hour = 0.0
    for step in profile.steps:
        points.append((hour, step.start_c))
        if step.hold_s is None:
            break
        hour += step.hold_s / HOUR_S
        points.append((hour, step.end_c))
    return tuple(points)


def between(points: Sequence[Point], hour: float) -> float:
    """The value at this hour on the straight lines through these points, level outside them."""
    index = bisect_right(points, (hour, float("inf")))
    if index == 0:
        return points[0][1]
    if index == len(points):
        return points[-1][1]
    (left_h, left), (right_h, right) = points[index - 1], points[index]
    return left + (right - left) * (hour - left_h) / (right_h - left_h)


def _interpolated(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    index = min(max(bisect_right(xs, x), 1), len(xs) - 1)
    width = xs[index] - xs[index - 1]
    if width <= 0.0:
        return ys[index]
    return ys[index - 1] + (ys[index] - ys[index - 1]) * (x - xs[index - 1]) / width
