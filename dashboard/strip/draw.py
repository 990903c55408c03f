"""A curve as one SVG: three lanes like a paper strip chart (beer, garage, what was switched on).

The beer has a lane of its own, because a cold garage on the same scale would flatten a drift of
half a degree to nothing. Text keeps its size at any width: only the paths are stretched. A stretch
without readings is hatched, never bridged. Colours and dashes are the style sheet's; nothing here
reads a clock, and nothing is drawn that is not in the `Picture`.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from dashboard.facts import Bucket, Curve
from dashboard.sheet import words
from dashboard.sheet.units import Units
from dashboard.strip import annotate, foretold, lines
from dashboard.strip.axis import Scale, temperature_scale
from dashboard.strip.picture import BEER, FAN, GARAGE, HEAT, HEIGHT_PX, Lane, Picture, text


def draw(picture: Picture) -> str:
    """The picture as SVG text, to be put into a page."""
    curve = picture.curve
    units = picture.units
    beer = temperature_scale(_temperatures(curve, _beer_values), 4.0, 7, units)
    garage = temperature_scale(_temperatures(curve, _garage_values), 4.0, 2, units)
    gravity = annotate.scale_of_gravities(picture)
    body = [
        annotate.gaps(curve, picture.now_utc_s),
        _level_marks(BEER, beer, units),
        _level_marks(GARAGE, garage, units),
        annotate.time_axis(picture),
        annotate.captions(gravity is not None, units),
        foretold.course(picture, gravity) if gravity else "",
        _lane(
            curve,
            BEER,
            _shape("band", "", lines.band(curve, _low, _high, beer, BEER.height_px))
            + _shape("target", "target", lines.line(curve, _target, beer, BEER.height_px))
            + _shape("beer", "beer", lines.line(curve, _mean, beer, BEER.height_px)),
            _span(beer, units),
        ),
        _lane(
            curve,
            GARAGE,
            _shape("garage", "garage", lines.line(curve, _garage, garage, GARAGE.height_px)),
            _span(garage, units),
        ),
        _lane(curve, HEAT, _shape("heat", "heat", lines.bars(curve, _heat, HEAT.height_px))),
        _lane(curve, FAN, _shape("fan", "fan", lines.bars(curve, _fan, FAN.height_px))),
        annotate.step_marks(picture),
        foretold.now_line(picture),
        foretold.windows(picture),
        annotate.gravities(picture, gravity) if gravity else "",
    ]
    return _frame(picture, "".join(body))


def _frame(picture: Picture, body: str) -> str:
    curve = picture.curve
    return (
        f'<svg id="plot" class="plot" role="img" aria-labelledby="plot-title plot-desc" '
        f'height="{HEIGHT_PX}" data-from="{curve.from_utc_s:.0f}" data-to="{curve.to_utc_s:.0f}" '
        f'data-offsets="{_offsets(picture)}" data-degree="{picture.units.degree}" '
        f'data-gravity="{picture.units.gravity_name}">'
        f'<title id="plot-title">{escape(picture.title)}</title>'
        f'<desc id="plot-desc">{escape(picture.description)}</desc>'
        '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<path class="hatch" d="M0 6 6 0"/></pattern></defs>'
        f"{body}</svg>"
    )


def _lane(curve: Curve, lane: Lane, shapes: str, span: str = "") -> str:
    """One lane with its paths, stretched to the width of the page."""
    high = lane.height_px * lines.UNITS_PER_PIXEL
    return (
        f'<svg y="{lane.top_px}" width="100%" height="{lane.height_px}" '
        f'viewBox="0 0 {lines.width(curve)} {high}" preserveAspectRatio="none"{span}>'
        f"{shapes}</svg>"
        f'<line class="floor" x2="100%" y1="{lane.floor_px}" y2="{lane.floor_px}"/>'
    )


def _span(scale: Scale, units: Units) -> str:
    """What the lane's floor and ceiling are, for the page's script."""
    low, high = units.degrees(scale.low), units.degrees(scale.high)
    return f' data-low="{low:.6g}" data-high="{high:.6g}"'


def _shape(look: str, reads: str, path: str) -> str:
    if not path:
        return ""
    read = f' data-reads="{reads}"' if reads else ""
    return f'<path class="{look}"{read} d="{path}"/>'


def _level_marks(lane: Lane, scale: Scale, units: Units) -> str:
    parts = []
    for tick in scale.ticks:
        y = lane.y(scale, tick)
        parts.append(f'<line class="rule" x2="100%" y1="{y}" y2="{y}"/>')
        parts.append(
            text(
                "-6",
                y + 4,
                f"{units.degrees(tick) + 0.0:.6g}".replace("-", "\u2212"),
                "scale",
                "end",
            )
        )
    return "".join(parts)


def _offsets(picture: Picture) -> str:
    """`seconds east of UTC` at the left end, then `,moment:offset` for each change of the clocks
    inside the window (looked for by the hour).
    """
    curve = picture.curve
    found: list[str] = []
    last = None
    hours = int((curve.to_utc_s - curve.from_utc_s) // words.HOUR_S) + 1
    for hour in range(min(hours, 24 * 400)):
        at_utc_s = curve.from_utc_s + hour * words.HOUR_S
        offset = words.local(at_utc_s, picture.units.zone).utcoffset()
        seconds = 0 if offset is None else round(offset.total_seconds())
        if seconds != last:
            found.append(f"{at_utc_s:.0f}:{seconds}")
            last = seconds
    return ",".join(found)


def _temperatures(curve: Curve, values: Sequence[lines.Value]) -> list[float]:
    found = [value(bucket) for bucket in curve.buckets for value in values]
    return [each for each in found if each is not None] or [20.0]


def _low(bucket: Bucket) -> float | None:
    return bucket.beer_low_c


def _mean(bucket: Bucket) -> float | None:
    return bucket.beer_mean_c


def _high(bucket: Bucket) -> float | None:
    return bucket.beer_high_c


def _target(bucket: Bucket) -> float | None:
    return bucket.target_c


def _garage(bucket: Bucket) -> float | None:
    return bucket.garage_mean_c


def _heat(bucket: Bucket) -> float | None:
    return bucket.heat_share


def _fan(bucket: Bucket) -> float | None:
    return bucket.fan_share


_beer_values = (_low, _high, _target)
_garage_values = (_garage,)
