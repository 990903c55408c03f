"""Draws the low-voltage diagrams of WIRING.md from one plan of the pins.

    pip install '.[docs]' && python hardware/draw.py [FOLDER]

It writes header.svg, probes.svg, relays.svg and order.svg beside itself. The plan is the one of the
examples: a test compares it with them, and the drawings with the plan. No mains wiring is drawn:
the order of the mains parts is shown as blocks only.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import schemdraw
import schemdraw.elements as elm

GREY, INK, HOT, DATA = "#8a8f98", "#1c2330", "#b3261e", "#1f5fa8"


@dataclass(frozen=True)
class Pin:
    """One pin of the 40-pin header that is used.

    Args:
        header: its number along the header.
        name: what it is called on the board.
        use: what is connected.
        gpio: the chip's own number, None for supply and ground.
    """

    header: int
    name: str
    use: str
    gpio: int | None = None


# Source: the 40-pin header of the Raspberry Pi (Raspberry Pi documentation, GPIO and the header).
PLAN = (
    Pin(1, "3.3 V", "probes, supply"),
    Pin(2, "5 V", "relay inputs, supply"),
    Pin(6, "GND", "relay inputs, ground"),
    Pin(7, "GPIO 4", "probes, data", 4),
    Pin(9, "GND", "probes, ground"),
    Pin(11, "GPIO 17", "heat pad's outlet, input", 17),
    Pin(13, "GPIO 27", "fan's relay, input", 27),
    Pin(14, "GND", "pull-down resistors, ground"),
)
PROBES = ("beer", "garage", "pad")
BLOCKS = (
    "plug", "RCD or\nGFCI", "fuse", "outlet\nthermostat\n(advised)", "switched\noutlet",
    "thermal\ncut-out", "heat pad",
)  # fmt: skip


def pin_of(use: str) -> Pin:
    """The pin with this use."""
    return next(pin for pin in PLAN if pin.use == use)


def drawing(margin: float = 0.3) -> schemdraw.Drawing:
    """An empty sheet."""
    sheet = schemdraw.Drawing(show=False)
    sheet.config(fontsize=11, color=INK, lw=1.4, font="sans-serif", bgcolor="white", margin=margin)
    return sheet


def text(sheet: schemdraw.Drawing, at: tuple[float, float], words: str, **more: object) -> None:
    """Words at a place."""
    sheet += elm.Label().at(at).theta(0).label(words, ofst=(0, 0), **more)


def dot(sheet: schemdraw.Drawing, at: tuple[float, float], color: str = INK) -> None:
    """A joint of wires."""
    sheet += elm.Dot().at(at).color(color).fill(color)


def wire(sheet: schemdraw.Drawing, color: str, *points: tuple[float, float]) -> None:
    """A wire through these points."""
    for start, end in pairwise(points):
        sheet += elm.Line().at(start).to(end).color(color)


def box(
    sheet: schemdraw.Drawing, at: tuple[float, float], size: tuple[float, float], words: str
) -> None:
    """A box, its lower left corner at a place, with words in its middle."""
    (x, y), (width, height) = at, size
    sheet += elm.Rect(corner1=(0, 0), corner2=(width, height)).at(at).theta(0)
    for row, line in enumerate(reversed(words.split("\n"))):
        middle = y + height / 2 + 0.5 * (row - (words.count("\n")) / 2)
        text(sheet, (x + width / 2, middle - 0.12), line, halign="center")


def header() -> schemdraw.Drawing:
    """The header seen from above, board's edge to the right, with what is used named."""
    sheet = drawing(margin=1.5)
    used = {pin.header: pin for pin in PLAN}
    for number in range(1, 41):
        side, row = (number + 1) % 2, (number - 1) // 2
        x, y = 0.7 * side, -0.5 * row
        pin = used.get(number)
        color = INK if pin else GREY
        sheet += elm.Dot(radius=0.13, open=pin is None).at((x, y)).color(color)
        reach = 0.35 if side else -0.35
        words = f"{number}" if pin is None else f"{number}  {pin.name}: {pin.use}"
        text(sheet, (x + reach, y - 0.1), words, halign="left" if side else "right", color=color,
             fontsize=10)  # fmt: skip
    text(sheet, (0.35, 0.6), "pin 1 is at the card's end", halign="center", fontsize=10)
    return sheet


def probes() -> schemdraw.Drawing:
    """Three probes on one bus, one resistor for all."""
    sheet = drawing()
    rails = (("probes, supply", HOT), ("probes, data", DATA), ("probes, ground", INK))
    box(sheet, (-3.2, -0.6), (3.2, 3.6), "")
    text(sheet, (-1.6, 3.2), "Raspberry Pi", halign="center")
    for level, (use, color) in zip((2.4, 0.9, 0.0), rails, strict=True):
        pin = pin_of(use)
        text(sheet, (-0.15, level - 0.1), f"{pin.name}  (pin {pin.header})", halign="right")
        wire(sheet, color, (0, level), (11.4, level))
    sheet += elm.ResistorIEC().at((1.2, 2.4)).to((1.2, 0.9)).label("4.7 kΩ", loc="bottom")
    dot(sheet, (1.2, 2.4), HOT)
    dot(sheet, (1.2, 0.9), DATA)
    for place, name in enumerate(PROBES):
        x = 4.2 + 2.8 * place
        box(sheet, (x - 0.4, -3.0), (2.2, 1.2), f"DS18B20\n{name}")
        for shift, (level, color) in enumerate(((2.4, HOT), (0.9, DATA), (0.0, INK))):
            wire(sheet, color, (x + 0.7 * shift, level), (x + 0.7 * shift, -1.8))
            dot(sheet, (x + 0.7 * shift, level), color)
    text(sheet, (5.6, -3.8), "one cable from probe to probe; one resistor for the whole bus",
         halign="center", fontsize=10)  # fmt: skip
    return sheet


def relays() -> schemdraw.Drawing:
    """Both relay inputs, each held low by a resistor at the relay's end."""
    sheet = drawing()
    box(sheet, (-3.2, -3.6), (3.2, 5.4), "")
    text(sheet, (-1.6, 2.0), "Raspberry Pi", halign="center")
    supply, ground = pin_of("relay inputs, supply"), pin_of("relay inputs, ground")
    lines = (
        (0.6, pin_of("heat pad's outlet, input"), "switched outlet\nof the heat pad"),
        (-1.4, pin_of("fan's relay, input"), "relay\nof the fan"),
    )
    text(sheet, (-0.15, 1.3), f"{supply.name}  (pin {supply.header})", halign="right")
    wire(sheet, HOT, (0, 1.4), (5.6, 1.4), (5.6, -0.8), (6.2, -0.8))
    wire(sheet, HOT, (5.6, 1.2), (6.2, 1.2))
    dot(sheet, (5.6, 1.2), HOT)
    text(sheet, (-0.15, -3.3), f"{ground.name}  (pin {ground.header})", halign="right")
    wire(sheet, INK, (0, -3.2), (5.0, -3.2), (5.0, -0.2), (6.2, -0.2))
    wire(sheet, INK, (5.0, -2.2), (6.2, -2.2))
    dot(sheet, (5.0, -2.2))
    for level, pin, name in lines:
        text(sheet, (-0.15, level - 0.1), f"{pin.name}  (pin {pin.header})", halign="right")
        wire(sheet, DATA, (0, level), (6.2, level))
        sheet += elm.ResistorIEC().at((3.6, level)).to((3.6, level - 1.3)).label("10 kΩ", loc="top")
        wire(sheet, INK, (3.6, level - 1.3), (5.0, level - 1.3))
        dot(sheet, (3.6, level), DATA)
        dot(sheet, (5.0, level - 1.3))
        box(sheet, (6.2, level - 1.0), (3.2, 1.8), f"{name}\nactive-high")
    text(sheet, (3.1, -4.3), "the resistors sit at the relays' end of the wires", halign="center",
         fontsize=10)  # fmt: skip
    return sheet


def order() -> schemdraw.Drawing:
    """The mains parts in the order of the current. Blocks only; no wiring."""
    sheet = drawing()
    for place, name in enumerate(BLOCKS):
        x = 3.0 * place
        box(sheet, (x, 0), (2.3, 1.9), name)
        if place:
            sheet += elm.Line(arrow="->").at((x - 0.7, 0.95)).to((x, 0.95))
    text(sheet, (10.2, -0.7), "mains: ready-made, listed parts, or a licensed electrician",
         halign="center", fontsize=10)  # fmt: skip
    sheet += elm.Line(arrow="->").at((13.15, 3.1)).to((13.15, 1.9)).color(DATA)
    text(sheet, (13.15, 3.4), "3.3 V from the Raspberry Pi", halign="center", fontsize=10)
    return sheet


DRAWINGS = {"header": header, "probes": probes, "relays": relays, "order": order}


def main(folder: Path) -> None:
    """Writes every drawing into a folder."""
    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"
    for name, draw in DRAWINGS.items():
        (folder / f"{name}.svg").write_bytes(draw().get_imagedata("svg"))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
