"""The hazard table of hardware/SAFETY.md as values, and the tests' own measurements against it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
SAFETY = ROOT / "hardware" / "SAFETY.md"
COLUMNS = 7
_UNITS_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 0.001}
_TIME = re.compile(r"(\d+(?:\.\d+)?) (ms|s|min|h)\b")
_PROOF = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")


@dataclass(frozen=True)
class Hazard:
    """One row: its cells, as they stand there."""

    number: int
    hazard: str
    response: str
    beyond: str
    limit: str
    seen: str
    proof: str

    @property
    def proofs(self) -> list[tuple[str, str]]:
        """Each test named, as its file and its function."""
        return _PROOF.findall(self.proof)

    @property
    def limit_s(self) -> float | None:
        """The longest it may take; None when that is no time."""
        return seconds(self.limit)

    @property
    def seen_s(self) -> float | None:
        """The longest it took; None when that is no time."""
        return seconds(self.seen)

    @property
    def is_over(self) -> bool:
        """Whether the row admits that the limit is not kept."""
        return "**over**" in self.seen


def seconds(cell: str) -> float | None:
    """The longest time in a cell."""
    times = [float(number) * _UNITS_S[unit] for number, unit in _TIME.findall(cell)]
    return max(times, default=None)


def table() -> dict[int, Hazard]:
    """Every row, by number."""
    rows = {}
    for line in SAFETY.read_text().splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split(" | ")]
        if line.startswith("| ") and cells[0].isdecimal():
            assert len(cells) == COLUMNS, line
            rows[int(cells[0])] = Hazard(int(cells[0]), *cells[1:])
    return rows


def keeps(number: int, took_s: float) -> None:
    """That a time measured now is no longer than the table says it was seen to be."""
    row = table()[number]
    assert row.seen_s is not None, f"hazard {number} has no time in its row"
    assert took_s <= row.seen_s, f"hazard {number}: took {took_s:.0f} s, table says {row.seen}"
