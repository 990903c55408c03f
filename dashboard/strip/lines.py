"""Buckets as SVG path text: short, integer, relative, and broken wherever nothing was read.

Every path is `M x y l dx dy dx dy …`, so that the page's script can read the numbers back from the
picture. x counts half buckets from the left end of the window, y counts tenths of a pixel from the
top of its lane. Draws no axes and knows no colours.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TypeAlias

from dashboard.facts import Bucket, Curve
from dashboard.strip.axis import Scale

UNITS_PER_BUCKET = 2  # Why: a bucket's middle then lies on a whole number.
UNITS_PER_PIXEL = 10  # Why: a tenth of a pixel is below what an eye sees; whole numbers are short.
_LATE_BUCKETS = 1.5  # Why: buckets side by side are exactly one apart; two apart, one is missing.
_LATE_S_MIN = (
    90.0  # Why: a close-up has buckets shorter than a tick; silence begins after a minute.
)

Point: TypeAlias = tuple[int, int]
Value: TypeAlias = Callable[[Bucket], float | None]


def width(curve: Curve) -> int:
    """The width of the window in path units."""
    return max(1, round(UNITS_PER_BUCKET * (curve.to_utc_s - curve.from_utc_s) / curve.bucket_s))


def runs(curve: Curve, *values: Value) -> list[list[Bucket]]:
    """The stretches without a gap in which every one of the values was read."""
    found: list[list[Bucket]] = []
    last_utc_s = float("-inf")
    for bucket in curve.buckets:
        if any(value(bucket) is None for value in values):
            last_utc_s = float("-inf")
            continue
        if bucket.start_utc_s - last_utc_s > _late_s(curve):
            found.append([])
        found[-1].append(bucket)
        last_utc_s = bucket.start_utc_s
    return found


def gaps(curve: Curve, now_utc_s: float | None = None) -> list[tuple[float, float]]:
    """The stretches (from, to; UTC seconds) after the first bucket for which there is none. What
    lies beyond `now_utc_s` is no gap.
    """
    last_utc_s = curve.to_utc_s if now_utc_s is None else min(curve.to_utc_s, now_utc_s)
    found: list[tuple[float, float]] = []
    for bucket, after in pairwise(curve.buckets):
        if after.start_utc_s - bucket.start_utc_s > _late_s(curve):
            found.append((bucket.start_utc_s + curve.bucket_s, after.start_utc_s))
    if curve.buckets:
        ended_utc_s = curve.buckets[-1].start_utc_s + curve.bucket_s
        if last_utc_s - ended_utc_s > 2 * _late_s(curve):
            found.append((ended_utc_s, last_utc_s))
    return found


def line(curve: Curve, value: Value, scale: Scale, height_px: int) -> str:
    """One value as a line through the middles of its buckets."""
    parts = []
    for run in runs(curve, value):
        points = [(_middle(curve, each), _y(value(each), scale, height_px)) for each in run]
        parts.append(path(points, closed=False))
    return "".join(parts)


def band(curve: Curve, low: Value, high: Value, scale: Scale, height_px: int) -> str:
    """The area between two values."""
    parts = []
    for run in runs(curve, low, high):
        above = [(_middle(curve, each), _y(high(each), scale, height_px)) for each in run]
        below = [(_middle(curve, each), _y(low(each), scale, height_px)) for each in run]
        parts.append(path(above + below[::-1], closed=True))
    return "".join(parts)


def bars(curve: Curve, share: Value, height_px: int) -> str:
    """A share (0 to 1) of each bucket as an area that stands on the lane's floor."""
    floor, parts = height_px * UNITS_PER_PIXEL, []
    for run in runs(curve, share):
        points: list[Point] = [(_middle(curve, run[0]) - 1, floor)]
        for each in run:
            x, y = _middle(curve, each), floor - round((share(each) or 0.0) * floor)
            points += [(x - 1, y), (x + 1, y)]
        points.append((points[-1][0], floor))
        if any(y != floor for _, y in points):
            parts.append(path(points, closed=True))
    return "".join(parts)


def _late_s(curve: Curve) -> float:
    """How far apart two buckets may begin before it is a gap."""
    return max(_LATE_S_MIN, _LATE_BUCKETS * curve.bucket_s)


def _middle(curve: Curve, bucket: Bucket) -> int:
    since_s = bucket.start_utc_s + curve.bucket_s / 2 - curve.from_utc_s
    return round(UNITS_PER_BUCKET * since_s / curve.bucket_s)


def _y(value: float | None, scale: Scale, height_px: int) -> int:
    assert value is not None, "runs() left out what was not read"
    return round((1 - scale.share(value)) * height_px * UNITS_PER_PIXEL)


def path(points: list[Point], *, closed: bool) -> str:
    """Points as a path; those in the middle of a level stretch are left out."""
    kept = _without_level_middles(points)
    (x, y), steps = kept[0], []
    for (from_x, from_y), (to_x, to_y) in pairwise(kept):
        steps.append(f"{to_x - from_x}{_signed(to_y - from_y)}")
    body = " ".join(steps).replace(" -", "-") if steps else "0 0"
    return f"M{x} {y}l{body}{'z' if closed else ''}"


def _signed(number: int) -> str:
    return f"{number}" if number < 0 else f" {number}"


def _without_level_middles(points: list[Point]) -> list[Point]:
    """The same line without the points in the middle of a level stretch."""
    kept = points[:1]
    for point, after in pairwise(points[1:]):
        if not kept[-1][1] == point[1] == after[1]:
            kept.append(point)
    return kept + points[1:][-1:]
