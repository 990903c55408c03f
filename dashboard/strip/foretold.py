"""What is reckoned and not measured, on a strip chart: the gravity's course with its band, the
windows of what comes next, and the line where the past ends.

A band is a dotted outline over a faint fill, a course is dash and dot, a window is a bracket with
its name, so that none of them needs a colour. Draws nothing that is not in the `Picture`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from html import escape

from dashboard.facts import Curve
from dashboard.sheet.units import Units
from dashboard.strip import lines
from dashboard.strip.axis import Scale
from dashboard.strip.picture import BEER, FAN, CoursePoint, Picture, share_of, text, x_of

_ROW_PX = 24  # Why: a bracket with its name above it.
_FIRST_PX = 26  # Why: below the names of the marks.
_ROWS_MAX = 6  # Why: more brackets than that are the agenda's to tell.
_SIDE_SHARE = 0.55  # Why: from here on a name stands to the left of its bracket's end.


def visible(curve: Curve, course: Sequence[CoursePoint]) -> list[CoursePoint]:
    """The points inside the window, and one beyond it on either side."""
    times = [each.utc_s for each in course]
    first = max(0, bisect_right(times, curve.from_utc_s) - 1)
    return list(course[first : bisect_right(times, curve.to_utc_s) + 1])


def course(picture: Picture, scale: Scale) -> str:
    """The gravity's course with its band, as a lane of its own over the beer's."""
    points = visible(picture.curve, picture.course)
    if len(points) < 2:
        return ""
    above = [_point(picture.curve, scale, each.utc_s, each.high_sg) for each in points]
    below = [_point(picture.curve, scale, each.utc_s, each.low_sg) for each in points]
    middle = [_point(picture.curve, scale, each.utc_s, each.middle_sg) for each in points]
    high = BEER.height_px * lines.UNITS_PER_PIXEL
    return (
        f'<svg y="{BEER.top_px}" width="100%" height="{BEER.height_px}" '
        f'viewBox="0 0 {lines.width(picture.curve)} {high}" preserveAspectRatio="none"'
        f"{_span(scale, picture.units)}>"
        f'<path class="course-band" d="{lines.path(above + below[::-1], closed=True)}"/>'
        f'<path class="course" data-reads="gravity" d="{lines.path(middle, closed=False)}"/></svg>'
    )


def _point(curve: Curve, scale: Scale, utc_s: float, sg: float) -> lines.Point:
    x = round(lines.UNITS_PER_BUCKET * (utc_s - curve.from_utc_s) / curve.bucket_s)
    y = round((1 - scale.share(sg)) * BEER.height_px * lines.UNITS_PER_PIXEL)
    return x, y


def _span(scale: Scale, units: Units) -> str:
    low, high = units.gravity_value(scale.low), units.gravity_value(scale.high)
    return f' data-low="{low:.6g}" data-high="{high:.6g}"'


def now_line(picture: Picture) -> str:
    """Where the past ends, when the window goes on beyond it."""
    curve, now_utc_s = picture.curve, picture.now_utc_s
    if now_utc_s is None or not curve.from_utc_s < now_utc_s < curve.to_utc_s - 60:
        return ""
    x = x_of(share_of(curve, now_utc_s))
    return (
        f'<line class="now" x1="{x}" x2="{x}" y1="{BEER.top_px - 5}" y2="{FAN.floor_px}"/>'
        + text(x, FAN.floor_px - 4, "now", "note", "start", 5)
    )


def windows(picture: Picture) -> str:
    """The windows of what comes next, one below the other."""
    parts = []
    shown = [each for each in picture.windows if each.from_utc_s < picture.curve.to_utc_s]
    shown = [each for each in shown if each.to_utc_s > picture.curve.from_utc_s][:_ROWS_MAX]
    for row, each in enumerate(shown):
        left = share_of(picture.curve, each.from_utc_s)
        right = share_of(picture.curve, each.to_utc_s)
        y = BEER.top_px + _FIRST_PX + row * _ROW_PX
        parts.append(
            f'<g class="window"><title>{escape(each.detail)}</title>'
            f'<line x1="{x_of(left)}" x2="{x_of(right)}" y1="{y}" y2="{y}"/>'
            f'<line x1="{x_of(left)}" x2="{x_of(left)}" y1="{y - 4}" y2="{y + 4}"/>'
            f'<line x1="{x_of(right)}" x2="{x_of(right)}" y1="{y - 4}" y2="{y + 4}"/></g>'
        )
        if left > _SIDE_SHARE:
            parts.append(text(x_of(right), y - 6, each.text, "note", "end"))
        else:
            parts.append(text(x_of(left), y - 6, each.text, "note"))
    return "".join(parts)
