"""Suggestion: which next gravity reading would tell most about when a point is reached.

A reading tells most where the possible courses differ most in gravity for the same difference in
time. It looks at the hours up to the early side of the point itself, never past it: a brewer told
to read after the dry hops were due has been told too late.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

from dashboard.fermentation.course.kinetics import READING_SD_PLATO
from dashboard.fermentation.course.posterior import quantile

AHEAD_H = 72.0  # Why: nobody plans a reading further off, and by then there is a better forecast.
STEPS = 16  # Why: four and a half hours apart at the furthest.
SOON_H = 1.0  # Why: nobody reads at once because a page says so.
EARLY = 0.1  # Why: the early side of an 80 % window.
SPARE_SHARE = 0.15  # Why: a reading that narrows a window by less costs a sample for nothing.


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A time for the next reading. `narrows` is the share, 0 to 1, by which the window of the next
    point is expected to shrink.
    """

    hour: float
    narrows: float


def next_reading(
    platos_at: Callable[[float], Sequence[float]],
    sought_h: Sequence[float],
    weights: Sequence[float],
    now_h: float,
) -> Suggestion | None:
    """The hour whose reading is expected to narrow the window of `sought_h` most.

    By the linear rule: the variance left after a reading is 1 - r², with r the correlation of what
    it would show, error included, with what is sought. The earliest hour within a tenth of the best
    is taken. None: the point is past, out of reach, or no reading tells enough.
    """
    early_h = quantile(sought_h, weights, EARLY)
    if not isfinite(early_h):
        return None
    first_h, last_h = now_h + SOON_H, min(early_h, now_h + AHEAD_H)
    if last_h <= first_h:
        last_h = first_h
    worth = []
    for step in range(STEPS + 1):
        hour = first_h + (last_h - first_h) * step / STEPS
        worth.append((hour, _explained(platos_at(hour), sought_h, weights)))
    best = max(explained for _, explained in worth)
    narrows = 1.0 - sqrt(1.0 - min(best, 1.0))
    if narrows < SPARE_SHARE:
        return None
    hour = next(hour for hour, explained in worth if explained >= 0.9 * best)
    return Suggestion(hour, narrows)


def _explained(
    platos: Sequence[float], sought_h: Sequence[float], weights: Sequence[float]
) -> float:
    """The share of the variance of what is sought that a reading would explain, 0 to 1."""
    rows = [row for row in zip(weights, platos, sought_h, strict=True) if isfinite(row[2])]
    total = sum(row[0] for row in rows)
    if total <= 0.0:
        return 0.0
    plato = sum(weight * x for weight, x, _ in rows) / total
    hour = sum(weight * y for weight, _, y in rows) / total
    spread = sum(weight * (x - plato) ** 2 for weight, x, _ in rows) / total
    wait = sum(weight * (y - hour) ** 2 for weight, _, y in rows) / total
    together = sum(weight * (x - plato) * (y - hour) for weight, x, y in rows) / total
    noisy = (spread + READING_SD_PLATO**2) * wait
    return together * together / noisy if noisy > 0.0 else 0.0
