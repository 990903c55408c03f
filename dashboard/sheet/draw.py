"""A curve as one SVG: three lanes like a paper strip chart (beer, garage, what was switched on).

The beer has a lane of its own, because a cold garage on the same scale would flatten a drift of
half a degree to nothing. Text keeps its size at any width: only the paths are stretched. A stretch
without readings is hatched, never bridged. Colours and dashes are the style sheet's; nothing here
reads a clock, and nothing is drawn that is not in the `Picture`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from html import escape

from dashboard.facts import Bucket, Curve
from dashboard.sheet import lines, words
from dashboard.sheet.axis import (
    Scale,
    TimeMark,
    clock_marks,
    gravity_scale,
    pitch_marks,
    temperature_scale,
)

_TIME_MARKS = 8  # Why: on a phone every other one is left out, and four fit.
_LABEL_SHARE = 0.16  # Why: on a phone a step's name needs about a sixth of the width.
_EDGE_SHARE = 0.08  # Why: nearer to an edge than this, a centred text would run over it.


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at a moment: pitched, a step begun."""

    utc_s: float
    text: str


@dataclass(frozen=True, slots=True)
class GravityPoint:
    """One corrected gravity."""

    utc_s: float
    corrected_sg: float


@dataclass(frozen=True, slots=True)
class Picture:
    """All that is drawn. `pitched_utc_s` of None leaves out the axis since pitching."""

    curve: Curve
    title: str
    description: str
    marks: tuple[Mark, ...] = ()
    gravities: tuple[GravityPoint, ...] = ()
    pitched_utc_s: float | None = None
    zone: tzinfo | None = None


@dataclass(frozen=True, slots=True)
class Lane:
    """A horizontal strip of the picture, in pixels from its top."""

    top_px: int
    height_px: int

    @property
    def floor_px(self) -> int:
        """The lower edge."""
        return self.top_px + self.height_px

    def y(self, scale: Scale, value: float) -> int:
        """Where a value lies."""
        return self.top_px + round((1 - scale.share(value)) * self.height_px)


# Why: the beer's lane is as high as a phone leaves room for; the others only have to be told apart.
BEER = Lane(34, 210)
GARAGE = Lane(270, 46)
HEAT = Lane(330, 18)
FAN = Lane(354, 18)
_CLOCK_Y_PX = FAN.floor_px + 17  # Why: one line of small text below the lanes.
_PITCH_Y_PX = _CLOCK_Y_PX + 17  # Why: and a second one.
HEIGHT_PX = _PITCH_Y_PX + 7  # Why: room for the descenders of the last line.


def draw(picture: Picture) -> str:
    """The picture as SVG text, to be put into a page."""
    curve = picture.curve
    beer = temperature_scale(_temperatures(curve, _beer_values), 4.0, 7)
    garage = temperature_scale(_temperatures(curve, _garage_values), 4.0, 2)
    body = [
        _gaps(curve),
        _level_marks(BEER, beer),
        _level_marks(GARAGE, garage),
        _time_axis(picture),
        _captions(bool(picture.gravities)),
        _lane(
            curve,
            BEER,
            _shape("band", "", lines.band(curve, _low, _high, beer, BEER.height_px))
            + _shape("target", "target", lines.line(curve, _target, beer, BEER.height_px))
            + _shape("beer", "beer", lines.line(curve, _mean, beer, BEER.height_px)),
            beer,
        ),
        _lane(
            curve,
            GARAGE,
            _shape("garage", "garage", lines.line(curve, _garage, garage, GARAGE.height_px)),
            garage,
        ),
        _lane(curve, HEAT, _shape("heat", "heat", lines.bars(curve, _heat, HEAT.height_px))),
        _lane(curve, FAN, _shape("fan", "fan", lines.bars(curve, _fan, FAN.height_px))),
        _marks(picture),
        _gravities(picture),
    ]
    return _frame(picture, "".join(body))


def _frame(picture: Picture, body: str) -> str:
    curve = picture.curve
    return (
        f'<svg id="plot" class="plot" role="img" aria-labelledby="plot-title plot-desc" '
        f'height="{HEIGHT_PX}" data-from="{curve.from_utc_s:.0f}" data-to="{curve.to_utc_s:.0f}" '
        f'data-offsets="{_offsets(picture)}">'
        f'<title id="plot-title">{escape(picture.title)}</title>'
        f'<desc id="plot-desc">{escape(picture.description)}</desc>'
        '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<path class="hatch" d="M0 6 6 0"/></pattern></defs>'
        f"{body}</svg>"
    )


def _lane(curve: Curve, lane: Lane, shapes: str, scale: Scale | None = None) -> str:
    """One lane with its paths, stretched to the width of the page."""
    high = lane.height_px * lines.UNITS_PER_PIXEL
    span = "" if scale is None else f' data-low="{scale.low:g}" data-high="{scale.high:g}"'
    return (
        f'<svg y="{lane.top_px}" width="100%" height="{lane.height_px}" '
        f'viewBox="0 0 {lines.width(curve)} {high}" preserveAspectRatio="none"{span}>'
        f"{shapes}</svg>"
        f'<line class="floor" x2="100%" y1="{lane.floor_px}" y2="{lane.floor_px}"/>'
    )


def _shape(look: str, reads: str, path: str) -> str:
    if not path:
        return ""
    read = f' data-reads="{reads}"' if reads else ""
    return f'<path class="{look}"{read} d="{path}"/>'


def _text(x: str, y: int, text: str, look: str, anchor: str = "start", dx: int = 0) -> str:
    aside = f' dx="{dx}"' if dx else ""
    end = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{x}" y="{y}"{aside} class="{look}"{end}>{escape(text)}</text>'


def _level_marks(lane: Lane, scale: Scale) -> str:
    parts = []
    for tick in scale.ticks:
        y = lane.y(scale, tick)
        parts.append(f'<line class="rule" x2="100%" y1="{y}" y2="{y}"/>')
        parts.append(_text("-6", y + 4, f"{tick:g}".replace("-", "\u2212"), "scale", "end"))
    return "".join(parts)


def _captions(with_gravity: bool) -> str:
    parts = [
        _text("0", 11, "Beer, °C", "caption"),
        _text("0", GARAGE.top_px - 7, "Garage, °C", "caption"),
        _text("-6", HEAT.floor_px - 4, "heat", "scale", "end"),
        _text("-6", FAN.floor_px - 4, "fan", "scale", "end"),
    ]
    if with_gravity:
        parts.append(_text("100%", 11, "Gravity, SG", "caption", "end"))
    return "".join(parts)


def _time_axis(picture: Picture) -> str:
    curve = picture.curve
    span = (curve.from_utc_s, curve.to_utc_s)
    clock = clock_marks(*span, picture.zone, _TIME_MARKS)
    parts = [_time_row(clock, _CLOCK_Y_PX, "scale")]
    parts += [
        f'<line class="rule" x1="{_x(each.share)}" x2="{_x(each.share)}" '
        f'y1="{BEER.top_px}" y2="{FAN.floor_px}"/>'
        for each in clock
    ]
    if picture.pitched_utc_s is not None:
        since = pitch_marks(*span, picture.pitched_utc_s, _TIME_MARKS)
        parts.append(_time_row(since, _PITCH_Y_PX, "scale since"))
    return "".join(parts)


def _time_row(marks: Sequence[TimeMark], y: int, look: str) -> str:
    return "".join(
        _text(
            _x(each.share),
            y,
            each.text,
            look if each.is_main else f"{look} wide",
            _anchor(each.share),
        )
        for each in marks
    )


def _gaps(curve: Curve) -> str:
    parts = []
    for from_utc_s, to_utc_s in lines.gaps(curve):
        left, right = _share(curve, from_utc_s), _share(curve, to_utc_s)
        parts.append(
            f'<rect class="gap" x="{_x(left)}" width="{_x(right - left)}" y="{BEER.top_px}" '
            f'height="{FAN.floor_px - BEER.top_px}" fill="url(#hatch)"/>'
        )
        if right - left > _LABEL_SHARE:
            middle = BEER.top_px + BEER.height_px // 2
            parts.append(_text(_x((left + right) / 2), middle, "no readings", "note", "middle"))
    if not curve.buckets:
        parts.append(_text("50%", BEER.top_px + 60, "No readings in this time.", "note", "middle"))
    return "".join(parts)


def _marks(picture: Picture) -> str:
    parts, last_share = [], -1.0
    for mark in sorted(picture.marks, key=lambda each: each.utc_s):
        if not picture.curve.from_utc_s <= mark.utc_s <= picture.curve.to_utc_s:
            continue
        share = _share(picture.curve, mark.utc_s)
        parts.append(
            f'<line class="mark" x1="{_x(share)}" x2="{_x(share)}" y1="{BEER.top_px - 5}" '
            f'y2="{FAN.floor_px}"><title>{escape(mark.text)}</title></line>'
        )
        if share - last_share >= _LABEL_SHARE:
            anchor = "end" if share > 1 - _LABEL_SHARE else "start"
            parts.append(_text(_x(share), BEER.top_px - 8, mark.text, "note", anchor))
            last_share = share
    return "".join(parts)


def _gravities(picture: Picture) -> str:
    if not picture.gravities:
        return ""
    scale = gravity_scale([each.corrected_sg for each in picture.gravities])
    parts = [
        _text("100%", BEER.y(scale, tick) + 4, words.gravity(tick), "scale", dx=6)
        for tick in scale.ticks
    ]
    for each in picture.gravities:
        if not picture.curve.from_utc_s <= each.utc_s <= picture.curve.to_utc_s:
            continue
        share, y = _share(picture.curve, each.utc_s), BEER.y(scale, each.corrected_sg)
        parts.append(
            f'<svg x="{_x(share)}" y="{y}" class="point"><path d="M0-6 6 0 0 6-6 0z">'
            f"<title>{words.gravity(each.corrected_sg)}</title></path></svg>"
        )
        above = y - 11 if y > BEER.top_px + 24 else y + 21
        label = words.gravity(each.corrected_sg)
        parts.append(_text(_x(share), above, label, "note", _anchor(share)))
    return "".join(parts)


def _share(curve: Curve, utc_s: float) -> float:
    span_s = curve.to_utc_s - curve.from_utc_s
    return min(1.0, max(0.0, (utc_s - curve.from_utc_s) / span_s))


def _x(share: float) -> str:
    return f"{share * 100:.2f}".rstrip("0").rstrip(".") + "%"


def _anchor(share: float) -> str:
    if share < _EDGE_SHARE:
        return "start"
    return "end" if share > 1 - _EDGE_SHARE else "middle"


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
        offset = words.local(at_utc_s, picture.zone).utcoffset()
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
