"""Compare: batches of one kind of yeast beside each other, by the clock and by warmth.

By hours since pitching a cold batch looks slow; by degree-hours (kelvins above the coldest
temperature its yeast works at, times hours) it only looks slow if something else was wrong. It
refuses batches of different kinds: their degree-hours mean different things.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from dashboard.errors import EntryError
from dashboard.fermentation.course.kinetics import CARDINALS, Reading
from dashboard.fermentation.course.warmth import STEP_H, Warmth
from dashboard.fermentation.gravity import plato_from_sg
from dashboard.fermentation.strains import Strain

BATCHES_MAX = 12  # Why: more lines than that are a thicket.
HALF = 0.5  # Why: half attenuated: the steepest part, where a shift in time shows best.


@dataclass(frozen=True, slots=True)
class Ran:
    """A batch to compare: what it read and how warm it was. `readings` are in order."""

    name: str
    strain: Strain
    original_sg: float
    readings: tuple[Reading, ...]
    warmth: Warmth


@dataclass(frozen=True, slots=True)
class Mark:
    """One reading on both scales; `attenuation` is apparent, on °P, 0 to 1."""

    hour: float
    degree_hours: float
    sg: float
    attenuation: float


@dataclass(frozen=True, slots=True)
class Lane:
    """One batch in a comparison. `half_h` and `half_degree_hours` are where it was at half of the
    attenuation it shows at its end; None with fewer than two readings.
    """

    name: str
    marks: tuple[Mark, ...]
    half_h: float | None
    half_degree_hours: float | None


def compare(batches: Sequence[Ran]) -> tuple[Lane, ...]:
    """The batches as lanes, in their order; each begins at its original gravity.

    Raises:
        EntryError: they are of different kinds of yeast, or there are none or too many.
    """
    if not 1 <= len(batches) <= BATCHES_MAX:
        raise EntryError(
            f"{len(batches)} batches cannot be compared.", f"Choose 1 to {BATCHES_MAX}."
        )
    kinds = sorted({each.strain.category for each in batches})
    if len(kinds) > 1:
        raise EntryError(
            f"These batches are of different kinds of yeast: {', '.join(kinds)}.",
            "Choose batches of one kind; their temperatures mean different things.",
        )
    return tuple(_lane(each) for each in batches)


def degree_hours(warmth: Warmth, coldest_c: float, hour: float) -> float:
    """Kelvins above `coldest_c`, summed over the hours from pitching, in K h."""
    steps = max(1, ceil(hour / STEP_H))
    width_h = hour / steps
    middles = ((index + 0.5) * width_h for index in range(steps))
    return sum(max(0.0, warmth.at(each) - coldest_c) * width_h for each in middles)


def _lane(ran: Ran) -> Lane:
    coldest_c = CARDINALS[ran.strain.category].coldest_c
    original = plato_from_sg(ran.original_sg)
    readings = [Reading(0.0, ran.original_sg), *(r for r in ran.readings if r.hour > 0.0)]
    marks = tuple(
        Mark(
            each.hour,
            degree_hours(ran.warmth, coldest_c, each.hour),
            each.sg,
            1.0 - each.plato / original,
        )
        for each in readings
    )
    half_h = _crossing(marks)
    half = None if half_h is None else degree_hours(ran.warmth, coldest_c, half_h)
    return Lane(ran.name, marks, half_h, half)


def _crossing(marks: Sequence[Mark]) -> float | None:
    """When half of the last attenuation was reached, on straight lines between readings."""
    level = HALF * marks[-1].attenuation
    if len(marks) < 3 or level <= 0.0:
        return None
    right = next(index for index, mark in enumerate(marks) if mark.attenuation >= level)
    before, after = marks[right - 1], marks[right]
    share = (level - before.attenuation) / (after.attenuation - before.attenuation)
    return before.hour + share * (after.hour - before.hour)
