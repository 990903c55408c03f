"""The text that shows how to drive decide() with any plant, run as it stands."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

DEVELOPERS = Path(__file__).parent.parent.parent.parent / "DEVELOPERS.md"


@dataclass
class Kettle:
    """A plant as foreign as can be: one lump, and a probe that is late."""

    beer_c: float = 29.0
    probe_c: float = 29.0
    garage_c: float = 4.0

    def feel(self) -> dict[str, float]:
        return {"beer": round(self.probe_c * 16.0) / 16.0, "garage": self.garage_c}

    def step(self, seconds: float, heat: bool, fan: bool) -> None:
        assert not fan
        watts = 60.0 * heat - 0.8 * (self.beer_c - self.garage_c)
        self.beer_c += seconds * watts / 84_000.0
        self.probe_c += seconds * (self.beer_c - self.probe_c) / 200.0


def block() -> str:
    """The first Python block that drives a plant."""
    blocks = re.findall(r"```python\n(.*?)```", DEVELOPERS.read_text(), re.DOTALL)
    found = [each for each in blocks if "plant.step(" in each]
    assert found, "DEVELOPERS.md shows no code that drives decide() with a plant"
    return str(found[0])


def test_what_is_written_holds_a_plant_nobody_here_has_seen() -> None:
    plant = Kettle()
    names: dict[str, object] = {"plant": plant}
    exec(compile(block(), str(DEVELOPERS), "exec"), names)
    assert plant.beer_c == pytest.approx(35.0, abs=0.15)


def test_it_is_about_twenty_lines() -> None:
    lines = [line for line in block().splitlines() if line and "import" not in line]
    assert len(lines) <= 20
