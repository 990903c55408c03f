"""Strains: what may be expected of each kind of yeast, when nothing better is known.

Nine generic kinds, no maker's. Ranges and a fermentation procedure come from the BeerJSON documents
in `dashboard/strains`; what that format cannot say stands in the table here. They are defaults for
a brewer to correct: only kveik, clean ale, lager and Brettanomyces have any measurements behind
them. It reads those packaged documents once and nothing else.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from controller.beerjson import Profile, parse
from dashboard.errors import EntryError


@dataclass(frozen=True, slots=True)
class Expectation:
    """What BeerJSON cannot say of a kind of yeast.

    `usual_c` is the temperature to begin with when none is chosen. `floor_c` and `ceiling_c` are
    limits for alarms, engineering and no biology. `days_low` to `days_high` is how long it takes to
    terminal gravity at `usual_c`; `flat_h` is how long the gravity must then be seen to stand.
    """

    usual_c: float
    floor_c: float
    ceiling_c: float
    days_low: float
    days_high: float
    flat_h: float = 48.0


@dataclass(frozen=True, slots=True)
class Strain:
    """A kind of yeast. Temperatures in °C, apparent attenuation as a share of 0 to 1.

    `keeps_falling` is true where gravity may creep down for weeks after it seems to stand.
    `category` is the generic kind whose temperatures and course it is taken to follow; of the nine
    themselves it is their own short name.
    """

    slug: str
    name: str
    category: str
    low_c: float
    high_c: float
    attenuation_low: float
    attenuation_high: float
    keeps_falling: bool
    notes: str
    expected: Expectation
    procedure: Profile

    @property
    def attenuation_usual(self) -> float:
        """The middle of the range, for a batch whose brewer expects nothing else."""
        return (self.attenuation_low + self.attenuation_high) / 2.0


# Source: kveik: the highest and lowest of Foster et al. 2022 and Garshol & Preiss 2018, and under
# 30 h to 1-2 days at the warm end (Kits; Garshol & Preiss). Clean ale and lager: the days of open
# pilot-scale series at 22 °C. All other figures: common practice, no source. A gravity must stand
# for the trade's two days; one for hot kveik, whose whole course is two; three for the slow cool
# kinds and a week or four for those that keep falling, or a slow tail is taken for the end.
EXPECTED: dict[str, Expectation] = {
    "kveik": Expectation(35.0, 15.0, 42.0, 1.5, 5.0, 24.0),
    "clean-ale": Expectation(19.0, 14.0, 27.0, 3.5, 8.0),
    "english-ale": Expectation(19.0, 14.0, 25.0, 3.0, 7.0),
    "belgian-ale": Expectation(22.0, 16.0, 30.0, 5.0, 12.0),
    "saison": Expectation(27.0, 17.0, 35.0, 7.0, 21.0, 24.0 * 7),
    "wheat-ale": Expectation(20.0, 15.0, 26.0, 3.5, 8.0),
    "lager": Expectation(11.0, 6.0, 20.0, 8.0, 21.0, 72.0),
    "hybrid": Expectation(16.0, 12.0, 22.0, 5.0, 12.0, 72.0),
    "mixed": Expectation(22.0, 14.0, 32.0, 21.0, 180.0, 24.0 * 28),
}


@cache
def strains() -> tuple[Strain, ...]:
    """Every kind, kveik first."""
    return tuple(_read(slug, expected) for slug, expected in EXPECTED.items())


def strain(slug: str) -> Strain:
    """The kind with this short name, like `kveik`.

    Raises:
        EntryError: there is none; it names those there are.
    """
    for each in strains():
        if each.slug == slug:
            return each
    raise EntryError(
        f"There is no strain called {slug!r}.", f"Choose one of {', '.join(EXPECTED)}."
    )


def _read(slug: str, expected: Expectation) -> Strain:
    text = (files("dashboard") / "strains" / f"{slug}.json").read_text("utf-8")
    (procedure,) = parse(text, f"strains/{slug}.json")
    (culture,) = json.loads(text)["beerjson"]["cultures"]
    low_c, high_c = _range(culture["temperature_range"], "C")
    low_percent, high_percent = _range(culture["attenuation_range"], "%")
    return Strain(
        slug=slug,
        name=culture["name"],
        category=slug,
        low_c=low_c,
        high_c=high_c,
        attenuation_low=low_percent / 100.0,
        attenuation_high=high_percent / 100.0,
        keeps_falling=culture.get("glucoamylase", False),
        notes=culture["notes"],
        expected=expected,
        procedure=procedure,
    )


def _range(found: dict[str, Any], unit: str) -> tuple[float, float]:
    """Both ends of a range in a packaged document; a wrong unit there is a bug."""
    assert found["minimum"]["unit"] == found["maximum"]["unit"] == unit, found
    return float(found["minimum"]["value"]), float(found["maximum"]["value"])
