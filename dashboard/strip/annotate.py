"""Everything around the lines of a strip chart: times, gaps, marks, gravities and captions.

A stretch without readings is hatched and named, never bridged. What lies outside the window is left
out; names that would run over each other are left to their mark's title.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from dashboard.facts import Curve
from dashboard.sheet import words
from dashboard.sheet.units import Units
from dashboard.strip import foretold, lines
from dashboard.strip.axis import Scale, TimeMark, clock_marks, gravity_scale, pitch_marks
from dashboard.strip.picture import (
    BEER,
    CLOCK_Y_PX,
    FAN,
    GARAGE,
    HEAT,
    PITCH_Y_PX,
    Mark,
    Picture,
    share_of,
    text,
    x_of,
)

_TIME_MARKS = 8  # Why: on a phone every other one is left out, and four fit.
_LABEL_SHARE = 0.16  # Why: on a phone a step's name needs about a sixth of the width.
_EDGE_SHARE = 0.08  # Why: nearer to an edge than this, a centred text would run over it.


def gaps(curve: Curve, now_utc_s: float | None = None) -> str:
    """The stretches without readings."""
    parts = []
    for from_utc_s, to_utc_s in lines.gaps(curve, now_utc_s):
        left, right = share_of(curve, from_utc_s), share_of(curve, to_utc_s)
        parts.append(
            f'<rect class="gap" x="{x_of(left)}" width="{x_of(right - left)}" y="{BEER.top_px}" '
            f'height="{FAN.floor_px - BEER.top_px}" fill="url(#hatch)"/>'
        )
        if right - left > _LABEL_SHARE:
            middle = BEER.top_px + BEER.height_px // 2
            parts.append(text(x_of((left + right) / 2), middle, "no readings", "note", "middle"))
    if not curve.buckets:
        parts.append(text("50%", BEER.top_px + 60, "No readings in this time.", "note", "middle"))
    return "".join(parts)


def time_axis(picture: Picture) -> str:
    """The clock times with their rules, and the hours since pitching."""
    curve = picture.curve
    span = (curve.from_utc_s, curve.to_utc_s)
    clock = clock_marks(*span, picture.units.zone, _TIME_MARKS)
    parts = [_time_row(clock, CLOCK_Y_PX, "scale")]
    parts += [
        f'<line class="rule" x1="{x_of(each.share)}" x2="{x_of(each.share)}" '
        f'y1="{BEER.top_px}" y2="{FAN.floor_px}"/>'
        for each in clock
    ]
    if picture.pitched_utc_s is not None:
        since = pitch_marks(*span, picture.pitched_utc_s, _TIME_MARKS)
        parts.append(_time_row(since, PITCH_Y_PX, "scale since"))
    return "".join(parts)


def _time_row(marks: Sequence[TimeMark], y: int, look: str) -> str:
    return "".join(
        text(
            x_of(each.share),
            y,
            each.text,
            look if each.is_main else f"{look} wide",
            _anchor(each.share),
        )
        for each in marks
    )


def captions(with_gravity: bool, units: Units) -> str:
    """What each lane is."""
    parts = [
        text("0", 11, f"Beer, {units.degree}", "caption"),
        text("0", GARAGE.top_px - 7, f"Garage, {units.degree}", "caption"),
        text("-6", HEAT.floor_px - 4, "heat", "scale", "end"),
        text("-6", FAN.floor_px - 4, "fan", "scale", "end"),
    ]
    if with_gravity:
        parts.append(text("100%", 11, f"Gravity, {units.gravity_name}", "caption", "end"))
    return "".join(parts)


def step_marks(picture: Picture) -> str:
    """What happened, as a line through all lanes."""
    parts, last_share = [], -1.0
    for mark in sorted(picture.marks, key=lambda each: each.utc_s):
        if not picture.curve.from_utc_s <= mark.utc_s <= picture.curve.to_utc_s:
            continue
        share = share_of(picture.curve, mark.utc_s)
        parts.append(
            f'<line class="mark" x1="{x_of(share)}" x2="{x_of(share)}" y1="{BEER.top_px - 5}" '
            f'y2="{FAN.floor_px}"><title>{escape(_whole(mark))}</title></line>'
        )
        if share - last_share >= _LABEL_SHARE:
            anchor = "end" if share > 1 - _LABEL_SHARE else "start"
            parts.append(text(x_of(share), BEER.top_px - 8, mark.text, "note", anchor))
            last_share = share
    return "".join(parts)


def _whole(mark: Mark) -> str:
    return f"{mark.text}: {mark.detail}" if mark.detail else mark.text


def scale_of_gravities(picture: Picture) -> Scale | None:
    """The scale that holds the corrected gravities and what is reckoned of them; None: neither."""
    found = [each.corrected_sg for each in picture.gravities]
    for each in foretold.visible(picture.curve, picture.course):
        found += [each.low_sg, each.middle_sg, each.high_sg]
    return gravity_scale(found, picture.units) if found else None


def gravities(picture: Picture, scale: Scale) -> str:
    """The corrected gravities, and their scale."""
    units = picture.units
    parts = [
        text("100%", BEER.y(scale, tick) + 4, words.bare_gravity(tick, units), "scale", dx=6)
        for tick in scale.ticks
    ]
    for each in picture.gravities:
        if not picture.curve.from_utc_s <= each.utc_s <= picture.curve.to_utc_s:
            continue
        share, y = share_of(picture.curve, each.utc_s), BEER.y(scale, each.corrected_sg)
        parts.append(
            f'<svg x="{x_of(share)}" y="{y}" class="point"><path d="M0-6 6 0 0 6-6 0z">'
            f"<title>{words.gravity(each.corrected_sg, units)}</title></path></svg>"
        )
        parts.append(_beside(share, y, words.gravity(each.corrected_sg, units)))
    return "".join(parts)


def _beside(share: float, y: int, label: str) -> str:
    """A point's label: above it, or below at the top of the lane, or inward at either edge."""
    anchor = _anchor(share)
    if anchor != "middle":
        return text(x_of(share), y + 4, label, "note", anchor, 10 if anchor == "start" else -10)
    return text(x_of(share), y - 11 if y > BEER.top_px + 24 else y + 21, label, "note", anchor)


def _anchor(share: float) -> str:
    if share < _EDGE_SHARE:
        return "start"
    return "end" if share > 1 - _EDGE_SHARE else "middle"
