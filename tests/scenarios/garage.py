"""Runs the whole controller in the simulated garage, and reads what it wrote down."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from controller import wire
from controller.edge.journal.day_files import day_files, entries_in
from controller.settings import Settings, parse
from controller.simulation.faults import parse_fault
from controller.simulation.simulate import Garage, Show, simulate

SETTINGS = """
[chamber]
name = "test"
[vessel]
volume_l = 20
pad_w = 60
jacket = "good"
[probes]
beer = "28-00000a1b2c01"
garage = "28-00000a1b2c02"
pad = "28-00000a1b2c03"
[relays]
heat_gpio = 17
fan_gpio = 27
[batch]
name = "scenario"
target_c = {target_c}
"""


@dataclass(frozen=True)
class Night:
    """What happened: the score and every line, in order."""

    score: dict[str, float | int | None]
    lines: tuple[wire.Line, ...]

    @property
    def ticks(self) -> list[wire.Tick]:
        return [line for line in self.lines if isinstance(line, wire.Tick)]

    @property
    def events(self) -> list[wire.Event]:
        return [line for line in self.lines if isinstance(line, wire.Event)]

    def codes(self, state: str) -> list[str]:
        return [event.code for event in self.events if event.state == state]

    def after_h(self, hours: float) -> list[wire.Tick]:
        start_s = self.ticks[0].mono_s
        return [tick for tick in self.ticks if tick.mono_s - start_s >= hours * 3600.0]


def settings(target_c: float = 35.0, without: tuple[str, ...] = ()) -> Settings:
    text = SETTINGS.format(target_c=target_c)
    rows = [row for row in text.splitlines() if not row.startswith(without or ("#",))]
    return parse("\n".join(rows), Path())


def spent(
    folder: Path,
    *faults: str,
    days: float = 1.0,
    given: Settings | None = None,
    **garage: float,
) -> Night:
    """One run with these faults; every tick is checked for what must never be."""
    planned = tuple(parse_fault(fault) for fault in faults)
    score = simulate(
        given or settings(),
        Garage(faults=planned, **garage),  # type: ignore[arg-type]
        Show(days=days, journal=folder),
    )
    night = Night(score, tuple(lines_in(folder)))
    must_never_be(night)
    # Why: a welded contact heats whatever the command, and then the fan may well run.
    assert score["heat_and_fan_together_s"] == 0.0 or any("welded" in fault for fault in faults)
    return night


def lines_in(folder: Path) -> Iterator[wire.Line]:
    for day_file in day_files(folder):
        for entry in entries_in(day_file):
            line = wire.decode(entry.text)
            assert isinstance(line, wire.Tick | wire.Event)
            yield line


def must_never_be(night: Night) -> None:
    """The invariants of every tick, and a journal without a gap."""
    assert [line.seq for line in night.lines] == list(range(1, len(night.lines) + 1))
    seen_s = float("-inf")
    for tick in night.ticks:
        if "beer" not in tick.faults:
            seen_s = tick.mono_s
        assert not (tick.heat and tick.fan)
        if tick.heat and tick.heat_permit != "hold":
            assert tick.beer_c is not None
            assert tick.mono_s - seen_s <= 60.0
            assert tick.beer_c < 42.0
            assert not tick.trips
