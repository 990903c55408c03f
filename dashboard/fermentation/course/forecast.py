"""Forecast: how the gravity will go on, and when it passes the points a brewer waits for.

Everything it says is a window that should hold in eight batches of ten: the gravity over time, two
thirds of the drop, the end, ready to package, and which next reading would tell most. It decides
nothing: `terminal` says whether a beer is finished, `agenda` what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite

from dashboard.fermentation.attenuation import DRY_HOP_SHARE
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.posterior import Posterior, posterior_of, quantile, quantiles
from dashboard.fermentation.course.prior import normals, prior_for
from dashboard.fermentation.course.suggestion import Suggestion, next_reading
from dashboard.fermentation.course.warmth import WarmClock
from dashboard.fermentation.gravity import SG_MAX, SG_MIN, plato_from_sg, sg_from_plato
from dashboard.fermentation.strains import Strain

BAND = (0.1, 0.5, 0.9)  # Why: 80 % windows: narrower ones are wrong too often to plan by.
# Why: yeast does not keep to a curve: an hour of the way ahead may last 0.9 or 1.1 hours.
PACE_SD = 0.1
# Why: the end is not hit to the tenth, and mash and yeast are not the table's.
FINAL_SD_PLATO = 0.1
TERMINAL_LEFT_PLATO = 0.2  # Source: the flatness `terminal` asks for; less than a point of SG.
CURVE_POINTS = 60  # Why: a band for a phone's width.
BEYOND_SHARE = 1.25  # Why: the curve is drawn a quarter past its end, to show that it is level.
HORIZON_H = 24.0 * 180  # Why: a mixed culture's half year; beyond it nothing is foretold.


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
    posterior: Posterior


class _Ahead:
    """The draws of a posterior with their paces, and when each passes a gravity."""

    def __init__(self, posterior: Posterior, clock: WarmClock, known_h: float) -> None:
        self.posterior, self.clock, self.known_h = posterior, clock, known_h
        drawn = normals(len(posterior.weights), 6)
        self.paces = [max(0.5, 1.0 + PACE_SD * each[4]) for each in drawn]
        self.slips = [FINAL_SD_PLATO * each[5] for each in drawn]

    def hours_at(self, shares: Sequence[float], delay_h: float = 0.0) -> list[float]:
        """When each draw has done its share of its drop; infinite: not at these temperatures."""
        found = []
        triples = zip(self.posterior.courses, self.paces, shares, strict=True)
        for course, pace, share in triples:
            hour = self.clock.hour(course.warm_h_at(share))
            if hour is None or hour > HORIZON_H:
                found.append(inf)
                continue
            if hour > self.known_h:
                hour = self.known_h + (hour - self.known_h) * pace
            found.append(hour + delay_h)
        return found

    def platos(self, hour: float) -> list[float]:
        """The extract each draw has at this hour."""
        past_h = hour - self.known_h
        found = []
        rows = zip(self.posterior.courses, self.paces, self.slips, strict=True)
        if past_h <= 0.0:
            warm_h = self.clock.warm_h(hour)
            return [course.plato(warm_h) for course, _, _ in rows]
        for course, pace, slip in rows:
            warm_h = self.clock.warm_h(self.known_h + past_h / pace)
            share = course.share_done(warm_h)
            drop = course.original_plato - course.final_plato - slip
            found.append(course.original_plato - drop * share)
        return found


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
    ahead = _Ahead(posterior, clock, min(known_h, now_h))
    weights, count = posterior.weights, len(posterior.weights)
    finals = [c.final_plato + s for c, s in zip(posterior.courses, ahead.slips, strict=True)]
    final = _sg_window(finals, weights)
    two_thirds_h = ahead.hours_at([DRY_HOP_SHARE] * count)
    ends = [
        max(0.5, 1.0 - TERMINAL_LEFT_PLATO / max(0.01, each.original_plato - each.final_plato))
        for each in posterior.courses
    ]
    terminal_h = ahead.hours_at(ends)
    flat_h = strain.expected.flat_h
    terminal = _moment(terminal_h, weights, now_h)
    is_past_two_thirds = _moment(two_thirds_h, weights, now_h).passed > 0.5
    sought_h = terminal_h if is_past_two_thirds else two_thirds_h
    original_plato = plato_from_sg(original_sg)
    middle_plato = plato_from_sg(final.middle)
    return Forecast(
        now_h=now_h,
        readings=len(readings),
        final_sg=final,
        now_sg=_sg_window(ahead.platos(now_h), weights),
        two_thirds_sg=sg_from_plato(
            original_plato - DRY_HOP_SHARE * (original_plato - middle_plato)
        ),
        two_thirds=_moment(two_thirds_h, weights, now_h),
        terminal=terminal,
        ready=_moment([hour + flat_h for hour in terminal_h], weights, now_h),
        curve=_curve(ahead, weights, _last_h(terminal, now_h)),
        next_reading=next_reading(ahead.platos, sought_h, weights, now_h),
        posterior=posterior,
    )


def _last_h(terminal: Moment, now_h: float) -> float:
    """Where the drawn curve ends."""
    known = [each for each in (terminal.middle_h, terminal.high_h) if each is not None]
    return max(now_h + 12.0, BEYOND_SHARE * max(known, default=now_h + 96.0))


def _curve(ahead: _Ahead, weights: Sequence[float], last_h: float) -> tuple[BandPoint, ...]:
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
    return Moment(_finite(low), _finite(middle), _finite(high), passed)


def _finite(hour: float) -> float | None:
    return hour if isfinite(hour) else None


__all__ = ["BandPoint", "Forecast", "Moment", "Suggestion", "Window", "forecast", "quantile"]
