"""The air of a simulated garage: a mean, a day, a wander and cold snaps.

Pure and repeatable: the same seed and the same instants give the same air, whatever the step.
Nothing here knows what stands in the garage. Part of `garage.py`'s world.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from math import cos, exp, pi, sqrt
from random import Random

# Why: half an hour of travel either side of the hour is what a draughty door does; the wander is
# drawn on this grid and joined by straight lines, so it does not depend on the step.
_WANDER_GRID_S = 300.0
_DAY_S = 86_400.0  # Why: the sun.
_HOUR_S = 3_600.0  # Why: a definition.


@dataclass(frozen=True, slots=True)
class ColdSnap:
    """A spell of cold, by straight lines: falls, stays, rises. Hours count from the start."""

    from_h: float
    fall_h: float = 6.0
    drop_k: float = 17.0
    stay_h: float = 12.0
    rise_h: float = 12.0

    def share(self, elapsed_h: float) -> float:
        """How much of the drop stands `elapsed_h` hours after the start, 0 to 1."""
        since_h = elapsed_h - self.from_h
        if since_h <= 0.0:
            return 0.0
        if since_h < self.fall_h:
            return since_h / self.fall_h
        left_h = self.fall_h + self.stay_h + self.rise_h - since_h
        if left_h >= self.rise_h:
            return 1.0
        return max(0.0, left_h / self.rise_h)


@dataclass(frozen=True, slots=True)
class WeatherSettings:
    """What the garage air does.

    Args:
        mean_c: its mean over a day.
        swing_k: half the difference between the warmest and the coldest hour of a day; 2 to 7 K in
            an unheated garage (common practice, no source).
        wander_k: standard deviation of what is neither mean nor day.
        wander_memory_s: how long the wander remembers itself (a first-order autoregression).
        warmest_h: the warmest hour of the day, UTC.
        cold_snaps: spells of cold, each counted from the start of the simulation.
        course: the air by (hours from the start, °C), joined by straight lines, in the place of
            mean and swing; empty for those.
    """

    mean_c: float = 3.0
    swing_k: float = 3.0
    wander_k: float = 0.4
    wander_memory_s: float = _HOUR_S
    warmest_h: float = 15.0
    cold_snaps: tuple[ColdSnap, ...] = ()
    course: tuple[tuple[float, float], ...] = ()


class Weather:
    """The garage air, instant by instant; instants must not go back by more than a grid step."""

    __slots__ = (
        "_after_k",
        "_before_k",
        "_cell",
        "_memory",
        "_random",
        "_settings",
        "_start_utc_s",
    )

    def __init__(self, settings: WeatherSettings, seed: int, start_utc_s: float) -> None:
        self._settings = settings
        self._start_utc_s = start_utc_s
        self._random = Random(f"weather {seed}")  # noqa: S311 - repeatable on purpose
        self._memory = exp(-_WANDER_GRID_S / settings.wander_memory_s)
        self._cell = 0
        self._before_k = self._random.gauss(0.0, settings.wander_k)
        self._after_k = self._next_wander(self._before_k)

    def at(self, utc_s: float) -> float:
        """The garage air at this instant, in °C."""
        settings = self._settings
        elapsed_s = utc_s - self._start_utc_s
        position = elapsed_s / _WANDER_GRID_S
        while position >= self._cell + 1:
            self._cell += 1
            self._before_k, self._after_k = self._after_k, self._next_wander(self._after_k)
        wander_k = self._before_k + (self._after_k - self._before_k) * (position - self._cell)
        if settings.course:
            air_c = self._on_course(elapsed_s / _HOUR_S) + wander_k
        else:
            day = cos(2.0 * pi * (utc_s - settings.warmest_h * _HOUR_S) / _DAY_S)
            air_c = settings.mean_c + settings.swing_k * day + wander_k
        for snap in settings.cold_snaps:
            air_c -= snap.drop_k * snap.share(elapsed_s / _HOUR_S)
        return air_c

    def _on_course(self, elapsed_h: float) -> float:
        course = self._settings.course
        place = bisect_right(course, (elapsed_h, float("inf")))
        if place == 0 or place == len(course):
            return course[min(place, len(course) - 1)][1]
        (from_h, from_c), (to_h, to_c) = course[place - 1], course[place]
        return from_c + (to_c - from_c) * (elapsed_h - from_h) / (to_h - from_h)

    def _next_wander(self, from_k: float) -> float:
        fresh_k = self._settings.wander_k * sqrt(1.0 - self._memory * self._memory)
        return from_k * self._memory + self._random.gauss(0.0, fresh_k)
