"""Ahead: the likely courses carried on from the newest reading, each at its own pace.

A course is followed exactly up to what was read; from there on its hours may last a little more or
less, because yeast does not keep to a curve, and its end may lie a little off. Windows, bands and
chances are read from these; nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from dashboard.fermentation.course.posterior import Posterior
from dashboard.fermentation.course.prior import DIMENSIONS, normals
from dashboard.fermentation.course.warmth import WarmClock

# Why: an hour of the way ahead may last 0.9 or 1.1 hours (windows then hold; forecast bench).
PACE_SD = 0.1
PACE_MIN = 0.5  # Why: no ferment runs twice as fast as its readings said.
# Why: the end is not hit to the tenth, and mash and yeast are not the table's.
FINAL_SD_PLATO = 0.15
TERMINAL_LEFT_PLATO = 0.2  # Source: the flatness `terminal` asks for; less than a point of SG.
TERMINAL_LEFT_PLATO_MIN = 0.05  # Why: nobody sees less; a logistic never quite arrives.
HORIZON_H = 24.0 * 180  # Why: a mixed culture's half year; beyond it nothing is foretold.


class Ahead:
    """The draws of a posterior with their paces, and when each passes a gravity."""

    def __init__(self, posterior: Posterior, clock: WarmClock, known_h: float) -> None:
        self.posterior, self.clock, self.known_h = posterior, clock, known_h
        drawn = normals(len(posterior.weights), DIMENSIONS + 2)
        self.paces = [max(PACE_MIN, 1.0 + PACE_SD * each[-2]) for each in drawn]
        self.slips = [FINAL_SD_PLATO * each[-1] for each in drawn]

    @property
    def weights(self) -> tuple[float, ...]:
        """Those of the draws; they add up to 1."""
        return self.posterior.weights

    def terminal_hours(self) -> list[float]:
        """When each draw is within 0.2 °P of its end, as a hydrometer that is a little off sees."""
        ends = []
        for course, slip in zip(self.posterior.courses, self.slips, strict=True):
            left = max(TERMINAL_LEFT_PLATO_MIN, TERMINAL_LEFT_PLATO + slip)
            drop = max(course.original_plato - course.final_plato, 0.01)
            ends.append(max(0.5, 1.0 - left / drop))
        return self.hours_at(ends)

    def hours_at_plato(self, plato: float) -> list[float]:
        """When each draw has fallen to this extract; infinite: it never does."""
        shares = []
        for course, slip in zip(self.posterior.courses, self.slips, strict=True):
            drop = course.original_plato - course.final_plato - slip
            shares.append(max(0.0, (course.original_plato - plato) / max(drop, 0.01)))
        found = self.hours_at([min(share, 0.999) for share in shares])
        return [inf if share >= 0.999 else hour for share, hour in zip(shares, found, strict=True)]

    def chance_by(self, hour: float, hours: Sequence[float]) -> float:
        """The chance that what is reached at these hours is reached by this one."""
        pairs = zip(self.weights, hours, strict=True)
        return min(1.0, sum(weight for weight, each in pairs if each <= hour))

    def hours_at(self, shares: Sequence[float]) -> list[float]:
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
            found.append(hour)
        return found

    def platos(self, hour: float) -> list[float]:
        """The extract each draw has at this hour."""
        past_h = hour - self.known_h
        courses = self.posterior.courses
        if past_h <= 0.0:
            warm_h = self.clock.warm_h(hour)
            return [course.plato(warm_h) for course in courses]
        known_h, warm_at = self.known_h, self.clock.warm_h
        found = []
        for course, pace, slip in zip(courses, self.paces, self.slips, strict=True):
            share = course.share_done(warm_at(known_h + past_h / pace))
            drop = course.original_plato - course.final_plato - slip
            found.append(course.original_plato - drop * share)
        return found
