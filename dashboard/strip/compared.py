"""Batches beside each other as one SVG: attenuation against hours or degree-hours.

Each batch is a line with its number at every reading and a dash of its own, so that none needs a
colour. Text keeps its size at any width. Draws nothing that is not in the lanes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

from dashboard.fermentation.compare import Lane, Mark
from dashboard.strip.axis import round_scale
from dashboard.strip.picture import text, x_of

HEIGHT_PX = 260  # Why: two of them fit on a phone with their table.
TOP_PX, FLOOR_PX = 24, 222  # Why: room for a caption above and the hours below.
WIDE = 1000  # Why: units of the stretched lane; a thousandth of a page is not seen.
STEPS = (6.0, 12.0, 24.0, 48.0, 96.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)  # Why: round figures.
SHARES = (0.0, 0.2, 0.4, 0.6, 0.8)  # Why: apparent attenuation seldom passes 90 %.
SHARE_MAX = 1.0  # Why: nothing attenuates further, but for a little that is cut off.


def draw(lanes: Sequence[Lane], along: Callable[[Mark], float], caption: str, name: str) -> str:
    """The lanes over `along`. `name` tells two pictures of one page apart."""
    last = max((along(mark) for lane in lanes for mark in lane.marks), default=0.0)
    scale = round_scale([0.0, max(last, 1.0)], 1.0, STEPS, 6)
    body = []
    for share in SHARES:
        y = _y(share)
        body.append(f'<line class="rule" x2="100%" y1="{y}" y2="{y}"/>')
        body.append(text("-6", y + 4, f"{share * 100:.0f}", "scale", "end"))
    for index, tick in enumerate(scale.ticks):
        look = "scale" if index % 2 == 0 else "scale wide"
        body.append(text(x_of(scale.share(tick)), FLOOR_PX + 16, f"{tick:g}", look, "middle"))
    body.append(text("100%", HEIGHT_PX - 4, caption, "caption", "end"))
    body.append(text("0", 11, "Apparent attenuation, %", "caption"))
    for number, lane in enumerate(lanes, start=1):
        points = [(scale.share(along(mark)), mark.attenuation) for mark in lane.marks]
        body.append(_line(points, number))
        body += [_dot(share, height, number) for share, height in points[1:]]
    described = "; ".join(f"{n}: {lane.name}" for n, lane in enumerate(lanes, start=1))
    return (
        f'<svg class="plot compared" role="img" aria-labelledby="{name}-title" '
        f'height="{HEIGHT_PX}"><title id="{name}-title">{escape(f"{caption}. {described}")}'
        f"</title>{''.join(body)}</svg>"
    )


def _y(share: float) -> int:
    held = min(SHARE_MAX, max(0.0, share))
    return round(FLOOR_PX - held * (FLOOR_PX - TOP_PX))


def _line(points: Sequence[tuple[float, float]], number: int) -> str:
    path = "L".join(f"{share * WIDE:.0f} {_y(height) - TOP_PX}" for share, height in points)
    return (
        f'<svg y="{TOP_PX}" width="100%" height="{FLOOR_PX - TOP_PX}" viewBox="0 0 {WIDE} '
        f'{FLOOR_PX - TOP_PX}" preserveAspectRatio="none" overflow="visible">'
        f'<path class="lane dash-{(number - 1) % 4}" d="M{path}"/></svg>'
    )


def _dot(share: float, height: float, number: int) -> str:
    y = _y(height)
    return (
        f'<svg x="{x_of(share)}" y="{y}" class="numbered" overflow="visible"><circle r="8"/>'
        f'<text y="4" text-anchor="middle">{number}</text></svg>'
    )
