"""What a strip chart is made of: the picture's facts, its lanes, and how a text is written in it.

Shared by `draw` and `annotate`; draws nothing by itself. Positions along the time are shares of the
width, so that the page may be of any width; heights are pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from dashboard.facts import Curve
from dashboard.sheet.units import Units
from dashboard.strip.axis import Scale


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at a moment: pitched, a step begun, hops in. `detail` is the rest."""

    utc_s: float
    text: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class GravityPoint:
    """One corrected gravity."""

    utc_s: float
    corrected_sg: float


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """The reckoned gravity at a moment: its middle, and a band that holds in eight cases of ten."""

    utc_s: float
    low_sg: float
    middle_sg: float
    high_sg: float


@dataclass(frozen=True, slots=True)
class Window:
    """When something is to be expected. `text` is its name, `detail` the whole of it."""

    from_utc_s: float
    to_utc_s: float
    text: str
    detail: str


@dataclass(frozen=True, slots=True)
class Picture:
    """All that is drawn. `pitched_utc_s` of None leaves out the axis since pitching; beyond
    `now_utc_s` nothing can have been measured.
    """

    curve: Curve
    title: str
    description: str
    marks: tuple[Mark, ...] = ()
    gravities: tuple[GravityPoint, ...] = ()
    pitched_utc_s: float | None = None
    units: Units = Units()
    now_utc_s: float | None = None
    course: tuple[CoursePoint, ...] = ()
    windows: tuple[Window, ...] = ()


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
CLOCK_Y_PX = FAN.floor_px + 17  # Why: one line of small text below the lanes.
PITCH_Y_PX = CLOCK_Y_PX + 17  # Why: and a second one.
HEIGHT_PX = PITCH_Y_PX + 7  # Why: room for the descenders of the last line.


def text(x: str, y: int, written: str, look: str, anchor: str = "start", dx: int = 0) -> str:
    """A text at a share of the width and a height in pixels, `dx` pixels aside."""
    aside = f' dx="{dx}"' if dx else ""
    end = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{x}" y="{y}"{aside} class="{look}"{end}>{escape(written)}</text>'


def share_of(curve: Curve, utc_s: float) -> float:
    """Where a moment lies in the window: 0 to 1."""
    span_s = curve.to_utc_s - curve.from_utc_s
    return min(1.0, max(0.0, (utc_s - curve.from_utc_s) / span_s))


def x_of(share: float) -> str:
    """A share of the width as SVG writes it."""
    return f"{share * 100:.2f}".rstrip("0").rstrip(".") + "%"
