"""Where the marks of an axis go and what is written beside them.

Pure arithmetic: round steps for temperatures and gravities in the reader's units, clock times on
whole hours of the reader's zone (also on the days the clocks change), hours since pitching. Draws
nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from dashboard.facts import GravityUnit
from dashboard.fermentation.gravity import SG_MAX, SG_MIN, plato_from_sg, sg_from_plato
from dashboard.sheet.units import Units
from dashboard.sheet.words import HOUR_S, local

_TIME_STEPS_H = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 168, 336, 720)  # Why: they divide a day.
_TICKS_MAX = 40  # Why: a limit for a loop; a page never asks for more than a dozen.
_BEER_STEPS_C = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)  # Why: steps a person counts in.
_GRAVITY_STEPS_SG = (0.002, 0.005, 0.01, 0.02, 0.05)  # Why: likewise.
_GRAVITY_STEPS_PLATO = (0.5, 1.0, 2.0, 5.0, 10.0)  # Why: likewise.
_QUARTERS_MAX = 4000  # Why: a limit for a loop; hours are marked in windows of days.
_QUARTER_S = 900.0  # Why: every zone in use is a whole number of quarters from UTC.


@dataclass(frozen=True, slots=True)
class Scale:
    """The span of an axis and the values that are marked. `low` and `high` are never equal."""

    low: float
    high: float
    ticks: tuple[float, ...]

    def share(self, value: float) -> float:
        """Where a value lies: 0 at `low`, 1 at `high`, clipped."""
        return min(1.0, max(0.0, (value - self.low) / (self.high - self.low)))


@dataclass(frozen=True, slots=True)
class TimeMark:
    """One written moment of a time axis. `share` is 0 at the left end, 1 at the right."""

    share: float
    text: str
    is_main: bool


def temperature_scale(
    values_c: list[float], least_span_k: float, marks: int, units: Units
) -> Scale:
    """A scale in °C that holds every value, spans at least `least_span_k` and has about `marks`
    marks, on round values of the reader's unit.
    """
    shown = [units.degrees(each) for each in values_c]
    least = units.difference(least_span_k)
    return _scale_of(round_scale(shown, least, _BEER_STEPS_C, marks), units.celsius)


def gravity_scale(values_sg: list[float], units: Units) -> Scale:
    """A scale in SG, with its marks on round values of the reader's scale."""
    if units.gravity is GravityUnit.PLATO:
        shown = [plato_from_sg(each) for each in values_sg]
        return _scale_of(round_scale(shown, 2.5, _GRAVITY_STEPS_PLATO, 5), _sg_within)
    return round_scale(values_sg, 0.01, _GRAVITY_STEPS_SG, 5)


def _sg_within(plato: float) -> float:
    """A round mark may lie just beyond what the formula reaches."""
    return sg_from_plato(min(max(plato, plato_from_sg(SG_MIN)), plato_from_sg(SG_MAX)))


def _scale_of(shown: Scale, stored: Callable[[float], float]) -> Scale:
    """The same scale in the units in which everything is kept."""
    return Scale(stored(shown.low), stored(shown.high), tuple(map(stored, shown.ticks)))


def round_scale(values: list[float], least: float, steps: tuple[float, ...], marks: int) -> Scale:
    """A scale with at most about `marks` marks a step of `steps` apart, at least `least` wide."""
    low, high = min(values), max(values)
    if high - low < least:
        middle = (low + high) / 2
        low, high = middle - least / 2, middle + least / 2
    step = next((each for each in steps if (high - low) / each <= marks), steps[-1])
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    stride = max(1, math.ceil((last - first) / _TICKS_MAX))
    ticks = tuple(index * step for index in range(first, last + 1, stride))
    return Scale(first * step, last * step, ticks)


def clock_marks(
    from_utc_s: float, to_utc_s: float, zone: tzinfo | None, marks: int
) -> tuple[TimeMark, ...]:
    """At most about `marks` moments on round clock times. Every other one is not `is_main`, so a
    narrow page may leave it out.
    """
    step_h = _time_step_h(to_utc_s - from_utc_s, marks)
    if step_h < 24:
        return _hour_marks(from_utc_s, to_utc_s, zone, step_h)
    found: list[TimeMark] = []
    at = local(from_utc_s, zone).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    for _ in range(_TICKS_MAX):
        utc_s = _utc_s_of(at, zone)
        if utc_s > to_utc_s:
            break
        if utc_s >= from_utc_s:
            share = (utc_s - from_utc_s) / (to_utc_s - from_utc_s)
            found.append(TimeMark(share, _clock_text(at, step_h), len(found) % 2 == 0))
        at += timedelta(hours=step_h)
    return tuple(found)


def _hour_marks(
    from_utc_s: float, to_utc_s: float, zone: tzinfo | None, step_h: float
) -> tuple[TimeMark, ...]:
    """Walks through real time and asks the clock on the wall, so that an hour the clocks skip has
    no mark. Of an hour they repeat, the second pass is marked only where every hour is.
    """
    found: list[TimeMark] = []
    first, last = math.ceil(from_utc_s / _QUARTER_S), math.floor(to_utc_s / _QUARTER_S)
    for quarter in range(first, min(last, first + _QUARTERS_MAX) + 1):
        utc_s = quarter * _QUARTER_S
        at = local(utc_s, zone)
        is_again = at.fold == 1 and step_h > 1
        if (at.hour * 60 + at.minute) % (step_h * 60) == 0 and not is_again:
            share = (utc_s - from_utc_s) / (to_utc_s - from_utc_s)
            found.append(TimeMark(share, _clock_text(at, step_h), len(found) % 2 == 0))
    return tuple(found)


def pitch_marks(
    from_utc_s: float, to_utc_s: float, pitched_utc_s: float, marks: int
) -> tuple[TimeMark, ...]:
    """Round hours or days since pitching, from 0 on: `6 h`, `48 h`, `day 5`."""
    step_s = _time_step_h(to_utc_s - from_utc_s, marks) * HOUR_S
    first = max(0, math.ceil((from_utc_s - pitched_utc_s) / step_s))
    found: list[TimeMark] = []
    for index in range(first, first + _TICKS_MAX):
        utc_s = pitched_utc_s + index * step_s
        if utc_s > to_utc_s:
            break
        share = (utc_s - from_utc_s) / (to_utc_s - from_utc_s)
        found.append(TimeMark(share, f"{index * step_s / HOUR_S:g} h", index % 2 == 0))
    return tuple(found)


def _time_step_h(span_s: float, marks: int) -> float:
    span_h = span_s / HOUR_S
    return next((step for step in _TIME_STEPS_H if span_h / step <= marks), _TIME_STEPS_H[-1])


def _utc_s_of(naive: datetime, zone: tzinfo | None) -> float:
    """A wall-clock time of the zone as seconds since 1970; one that the clocks skip becomes the
    next.
    """
    aware = naive.astimezone() if zone is None else naive.replace(tzinfo=zone)
    return aware.timestamp()


def _clock_text(at: datetime, step_h: float) -> str:
    if step_h >= 24:
        return f"{at.strftime('%a')} {at.day}"
    if at.hour == 0 and at.minute == 0:
        return at.strftime("%a %H:%M") if step_h >= 2 else at.strftime("%H:%M")
    return at.strftime("%H:%M")
