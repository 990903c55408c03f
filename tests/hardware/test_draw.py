"""The diagrams: as the script draws them, and the plan as the text and the examples have it."""

from __future__ import annotations

import importlib.util
import re
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

pytest.importorskip("schemdraw")

HARDWARE = Path(__file__).parents[2] / "hardware"
WIRING = (HARDWARE / "WIRING.md").read_text()
EXAMPLE = (HARDWARE.parent / "systemd" / "chamber.example.toml").read_text()


@pytest.fixture(scope="module")
def draw() -> ModuleType:
    spec = importlib.util.spec_from_file_location("hardware_draw", HARDWARE / "draw.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_committed_drawings_are_those_of_the_script(draw: ModuleType, tmp_path: Path) -> None:
    draw.main(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {p.name for p in HARDWARE.glob("*.svg")}
    for path in tmp_path.iterdir():
        assert path.read_text() == (HARDWARE / path.name).read_text(), path.name


def test_every_drawing_is_shown_in_the_text(draw: ModuleType) -> None:
    for name in draw.DRAWINGS:
        assert f"]({name}.svg)" in WIRING


def test_the_plan_is_that_of_the_example(draw: ModuleType) -> None:
    relays = tomllib.loads(EXAMPLE)["relays"]
    assert draw.pin_of("heat pad's outlet, input").gpio == relays["heat_gpio"]
    assert draw.pin_of("fan's relay, input").gpio == relays["fan_gpio"]


def test_the_plan_is_that_of_the_table(draw: ModuleType) -> None:
    rows = re.findall(r"^\| ([^|]+) \| *(\d*) *\| ([\d, ]+) \|", WIRING, re.M)
    said = {
        int(pin): int(gpio) if gpio else None for _, gpio, pins in rows for pin in pins.split(",")
    }
    assert said == {pin.header: pin.gpio for pin in draw.PLAN}


# Source: Raspberry Pi documentation, the 40-pin header (from memory).
HEADER = {1: None, 2: None, 6: None, 7: 4, 9: None, 11: 17, 13: 27, 14: None}


def test_the_numbers_are_those_of_the_board(draw: ModuleType) -> None:
    assert {pin.header: pin.gpio for pin in draw.PLAN} == HEADER
    for pin in draw.PLAN:
        assert pin.gpio is None or pin.name == f"GPIO {pin.gpio}"


def test_relay_lines_are_pulled_low_at_power_on(draw: ModuleType) -> None:
    """GPIO 9 to 27 are pulled down at reset. Source: BCM2835 ARM peripherals, 6.2 (from memory)."""
    for use in ("heat pad's outlet, input", "fan's relay, input"):
        assert 9 <= draw.pin_of(use).gpio <= 27
