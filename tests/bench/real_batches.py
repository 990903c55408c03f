"""The open series of real ferments that the benches and some tests read, where they are at hand.

36 batches, three-hourly, of a university's pilot, small and commercial plant: EmmanuelLwele,
Physics-Informed-Beer-Fermentation-Modelling, commit 1761fcc. They are not part of this repository;
whoever has them puts them in `../shared/data` beside it. The yeasts are a clean ale strain, a lager
strain and blends of the two; what has any of the ale strain in it is taken for a clean ale.
"""

from __future__ import annotations

import csv
from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.warmth import WarmClock, Warmth, clock_for
from dashboard.fermentation.gravity import sg_from_plato
from dashboard.fermentation.strains import Strain, strain

FILE = Path(__file__).parents[3] / "shared" / "data" / "beer_timeseries.csv"
FERMENTED = 0.60  # A batch that ended with less never finished: its end is no end.
HELD_K = 5.0  # At two thirds the beer must still be where it was: chilled before is another story.


@dataclass(frozen=True)
class RealBatch:
    name: str
    hours: tuple[float, ...]
    platos: tuple[float, ...]
    beer_c: tuple[float, ...]

    @property
    def strain(self) -> Strain:
        return strain("clean-ale" if "aleA" in self.name else "lager")

    @property
    def plant(self) -> str:
        return self.name.split("_")[1]

    @property
    def original_plato(self) -> float:
        return self.platos[0]

    @property
    def final_plato(self) -> float:
        return self.platos[-1]

    @property
    def held_c(self) -> float:
        early = sorted(self.beer_c[:20])
        return early[len(early) // 2]

    def at(self, hour: float, column: str = "platos") -> float:
        values: tuple[float, ...] = getattr(self, column)
        right = min(max(bisect_left(self.hours, hour), 1), len(self.hours) - 1)
        left_h, right_h = self.hours[right - 1], self.hours[right]
        step = (hour - left_h) / (right_h - left_h)
        return values[right - 1] + (values[right] - values[right - 1]) * min(max(step, 0.0), 1.0)

    def hour_of(self, share: float) -> float:
        """When this share of the drop it really had was done."""
        level = self.original_plato - share * (self.original_plato - self.final_plato)
        right = next(i for i, plato in enumerate(self.platos) if plato <= level)
        left = max(right - 1, 0)
        drop = self.platos[left] - self.platos[right]
        step = (self.platos[left] - level) / drop if drop > 0.0 else 0.0
        return self.hours[left] + step * (self.hours[right] - self.hours[left])

    @property
    def is_whole(self) -> bool:
        """Whether it fermented to an end and kept its temperature up to two thirds of its drop."""
        if 1.0 - self.final_plato / self.original_plato < FERMENTED:
            return False
        return abs(self.at(self.hour_of(2 / 3), "beer_c") - self.held_c) < HELD_K

    def reading(self, hour: float) -> Reading:
        return Reading(hour, sg_from_plato(self.at(hour)))

    def clock_up_to(self, now_h: float) -> WarmClock:
        """Its temperatures up to now; after that it is taken to stay as it is."""
        points = [(h, c) for h, c in zip(self.hours, self.beer_c, strict=True) if h <= now_h]
        return clock_for(self.strain, Warmth(tuple(points), now_h))


@cache
def real_batches() -> tuple[RealBatch, ...]:
    """All 36; empty where the file is not at hand."""
    if not FILE.exists():
        return ()
    rows: dict[str, list[tuple[float, float, float]]] = {}
    with FILE.open(newline="") as file:
        for row in csv.DictReader(file):
            if row["plato"]:
                beer_c = float(row["fluid_c"] or "nan")
                if beer_c != beer_c:
                    beer_c = rows[row["batch"]][-1][2]
                rows.setdefault(row["batch"], []).append(
                    (float(row["hours"]), float(row["plato"]), beer_c)
                )
    return tuple(
        RealBatch(name, *(tuple(column) for column in zip(*found, strict=True)))
        for name, found in rows.items()
    )
