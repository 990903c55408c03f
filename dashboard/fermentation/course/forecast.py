"""Forecast: how the gravity will go on, and when it passes the points a brewer waits for.

Everything it says is a window that should hold in eight batches of ten: the gravity over time, two
thirds of the drop, the end, ready to package, and which next reading would tell most. It decides
nothing: `terminal` says whether a beer is finished, `agenda` what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from dashboard.fermentation.attenuation import DRY_HOP_SHARE
from dashboard.fermentation.course.ahead import Ahead
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.posterior import posterior_of, quantiles
from dashboard.fermentation.course.prior import prior_for
from dashboard.fermentation.course.suggestion import Suggestion, next_reading
from dashboard.fermentation.course.warmth import WarmClock
from dashboard.fermentation.gravity import SG_MAX, SG_MIN, plato_from_sg, sg_from_plato
from dashboard.fermentation.strains import Strain

BAND = (0.1, 0.5, 0.9)  # Why: 80 % windows: narrower ones are wrong too often to plan by.
PAST = 0.5  # Why: what has more likely passed than not is no longer asked after.
CURVE_POINTS = 48  # Why: a band for a phone's width.
BEYOND_SHARE = 1.25  # Why: the curve is drawn a quarter past its end, to show that it is level.


@dataclass(frozen=True, slots=True)
class Window:
    """An 80 % window with its middle."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Moment:
    """When a point of the course is reached, in hours since pitching.

    A side is None when it is not reached at the planned temperatures within half a year.
    `passed` is the chance, 0 to 1, that it lies in the past.
    """

    low_h: float | None
    middle_h: float | None
    high_h: float | None
    passed: float


@dataclass(frozen=True, slots=True)
class BandPoint:
    """The SG window at this hour since pitching."""

    hour: float
    sg: Window


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is to be expected of a batch. `now_h` is hours since pitching.

    `two_thirds_sg` is the gravity of that point; `ready` is terminal gravity and the hours it must
    then be seen to stand. `next_reading` is None when a reading would tell little.
    """

    now_h: float
    readings: int
    final_sg: Window
    now_sg: Window
    two_thirds_sg: float
    two_thirds: Moment
    terminal: Moment
    ready: Moment
    curve: tuple[BandPoint, ...]
    next_reading: Suggestion | None
    ahead: Ahead


def forecast(
    strain: Strain,
    original_sg: float,
    readings: Sequence[Reading],
    clock: WarmClock,
    now_h: float,
    expected_final_sg: float | None = None,
) -> Forecast:
    """What is to be expected of a batch.

    Args:
        strain: its kind of yeast.
        original_sg: corrected, 1.010 to 1.170.
        readings: corrected, in order, of this batch; an extract from the heat balance counts as one
            with its own sd.
        clock: along the temperatures it had and is meant to have.
        now_h: hours since pitching.
        expected_final_sg: what the brewer expects; None: the middle of the strain's range.

    Raises:
        GravityError: a gravity is outside its range.
    """
    posterior = posterior_of(prior_for(strain, original_sg, expected_final_sg), readings, clock)
    known_h = max((reading.hour for reading in readings), default=0.0)
    ahead = Ahead(posterior, clock, min(known_h, now_h))
    return _foretold(ahead, strain, len(readings), now_h)


def _foretold(ahead: Ahead, strain: Strain, readings: int, now_h: float) -> Forecast:
    weights, courses = ahead.weights, ahead.posterior.courses
    finals = [c.final_plato + slip for c, slip in zip(courses, ahead.slips, strict=True)]
    final = _sg_window(finals, weights)
    original_plato = courses[0].original_plato
    fall_plato = original_plato - plato_from_sg(final.middle)
    two_thirds_h = ahead.hours_at([DRY_HOP_SHARE] * len(courses))
    terminal_h = ahead.terminal_hours()
    two_thirds = _moment(two_thirds_h, weights, now_h)
    terminal = _moment(terminal_h, weights, now_h)
    sought_h = terminal_h if two_thirds.passed > PAST else two_thirds_h
    flat_h = strain.expected.flat_h
    return Forecast(
        now_h=now_h,
        readings=readings,
        final_sg=final,
        now_sg=_sg_window(ahead.platos(now_h), weights),
        two_thirds_sg=_sg(original_plato - DRY_HOP_SHARE * fall_plato),
        two_thirds=two_thirds,
        terminal=terminal,
        ready=_moment([hour + flat_h for hour in terminal_h], weights, now_h),
        curve=_curve(ahead, weights, _last_h(terminal, now_h)),
        next_reading=next_reading(ahead.platos, sought_h, weights, now_h),
        ahead=ahead,
    )


def passing(said: Forecast, sg: float) -> Moment:
    """When the gravity of this forecast falls to `sg`.

    Raises:
        GravityError: it is outside the range of gravities.
    """
    return _moment(said.ahead.hours_at_plato(plato_from_sg(sg)), said.ahead.weights, said.now_h)


def _last_h(terminal: Moment, now_h: float) -> float:
    """Where the drawn curve ends."""
    known = [each for each in (terminal.middle_h, terminal.high_h) if each is not None]
    return max(now_h + 12.0, BEYOND_SHARE * max(known, default=now_h + 96.0))


def _curve(ahead: Ahead, weights: Sequence[float], last_h: float) -> tuple[BandPoint, ...]:
    hours = [last_h * index / (CURVE_POINTS - 1) for index in range(CURVE_POINTS)]
    return tuple(BandPoint(hour, _sg_window(ahead.platos(hour), weights)) for hour in hours)


def _sg_window(platos: Sequence[float], weights: Sequence[float]) -> Window:
    low, middle, high = (_sg(each) for each in quantiles(platos, weights, BAND))
    return Window(low, middle, high)


def _sg(plato: float) -> float:
    """The SG of an extract that may have been drawn past the end of the scale."""
    return sg_from_plato(min(max(plato, plato_from_sg(SG_MIN)), plato_from_sg(SG_MAX)))


def _moment(hours: Sequence[float], weights: Sequence[float], now_h: float) -> Moment:
    low, middle, high = quantiles(hours, weights, BAND)
    passed = sum(weight for hour, weight in zip(hours, weights, strict=True) if hour <= now_h)
    return Moment(_finite(low), _finite(middle), _finite(high), min(passed, 1.0))


def _finite(hour: float) -> float | None:
    return hour if isfinite(hour) else None
