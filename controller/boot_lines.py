"""Boot lines: what config.txt of a Raspberry Pi must say, and what of it is not there. Pure.

It reads text and writes none. The firmware acts on the file; `check` and the installer show a
person which lines are missing and why.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

CONFIG_FILES = (Path("/boot/firmware/config.txt"), Path("/boot/config.txt"))
_FILTER = re.compile(r"\[(?P<name>[^\]]*)\]")
_OFF_LOW = re.compile(r"gpio=(?P<gpios>[\d,-]+)=(?P<words>[a-z,]+)")


@dataclass(frozen=True, slots=True)
class BootLine:
    """One line that should be there, and what it does."""

    text: str
    meaning: str


def missing_lines(config: str, relay_gpios: Sequence[int]) -> tuple[BootLine, ...]:
    """The lines that this config.txt lacks for a chamber whose relays are on these lines.

    Only lines that apply to every board count: those before the first filter and under `[all]`.
    """
    said = tuple(_effective(config))
    wanted = []
    if not any(line.startswith("dtoverlay=w1-gpio") for line in said):
        wanted.append(BootLine("dtoverlay=w1-gpio,gpiopin=4", "the probes are read on GPIO 4"))
    unsaid = sorted(set(relay_gpios) - {gpio for line in said for gpio in _driven_low(line)})
    if unsaid:
        gpios = ",".join(map(str, unsaid))
        meaning = "the relay lines are driven low soon after power-on"
        wanted.append(BootLine(f"gpio={gpios}=op,dl", meaning))
    if "dtparam=strict_gpiod" not in said and "dtparam=strict_gpiod=on" not in said:
        meaning = "a line is let go when the program that drove it dies"
        wanted.append(BootLine("dtparam=strict_gpiod", meaning))
    if "dtparam=watchdog=off" in said:
        wanted.append(BootLine("dtparam=watchdog=on", "a frozen machine is reset"))
    return tuple(wanted)


def harmful_lines(config: str) -> tuple[BootLine, ...]:
    """Lines that should be taken out, and why."""
    return tuple(
        BootLine(line, "pullup means parasite power here, not the resistor: take it out")
        for line in _effective(config)
        if line.startswith("dtoverlay=w1-gpio") and "pullup" in line.split(",")
    )


def _effective(config: str) -> Iterator[str]:
    applies = True
    for row in config.splitlines():
        line = row.split("#")[0].strip()
        found = _FILTER.fullmatch(line)
        if found:
            applies = found["name"] == "all"
        elif line and applies:
            yield line


def _driven_low(line: str) -> Iterator[int]:
    """The GPIOs that a line `gpio=17,22-24=op,dl` drives low."""
    found = _OFF_LOW.fullmatch(line)
    if found is None or not {"op", "dl"} <= set(found["words"].split(",")):
        return
    for part in found["gpios"].split(","):
        first, _, last = part.partition("-")
        if first.isdecimal() and (last or first).isdecimal():
            yield from range(int(first), int(last or first) + 1)
