"""Heat balance: the extract between hydrometer readings, from the ferment's own heat.

A controller that knows its vessel can tell how many watts do not come from the pad; they are
extract being fermented. Watts drift and heat figures differ by a quarter between textbooks, so two
numbers, a factor and an offset in watts, are fitted to the readings there are. It shows nothing it
cannot stand for, and never replaces a reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

from dashboard.fermentation.attenuation import real_plato
from dashboard.fermentation.course.kinetics import READING_SD_PLATO, Reading
from dashboard.fermentation.course.prior import EIGHTY
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato, water_kg_per_m3

# Source: 252 BTU per lb, 586 kJ per kg of extract fermented, the usual handbook figure; texts give
# 550 to 760, which is what FACTOR_SD spans.
HEAT_J_PER_KG = 586e3
FACTOR_SD = 0.2  # Source: as above, and a pad's watts known to a tenth.
OFFSET_W_SD_MIN = 0.3  # Why: no lumped vessel's loss is known better over a day.
KNOWN_SHARE = 0.8  # Why: an hour in five without watts can be bridged; more is guessing.
WORTH_PLATO = 0.5  # Why: two SG points; wider than that, a hydrometer a day old says as much.
WORTH_SHARE = 0.35  # Why: a band wider than a third of what fell says only that something fell.
STRETCHES_MAX = 10_000  # Why: a year of hours; nothing here needs finer.


@dataclass(frozen=True, slots=True)
class HeatStretch:
    """The ferment's own heat over some hours since pitching, as its controller made it out.

    `sd_w` is how far off the watts may be for the whole stretch; at least 0.3 W is always taken.
    """

    from_h: float
    to_h: float
    ferment_w: float
    sd_w: float


@dataclass(frozen=True, slots=True)
class HeatEstimate:
    """The gravity now, from the newest reading (or the original) and the heat since.

    `low_sg` to `high_sg` is an 80 % band. `why_not` is None when it is worth showing.
    """

    hour: float
    sg: float
    low_sg: float
    high_sg: float
    sd_plato: float
    factor: float
    offset_w: float
    why_not: str | None

    def as_reading(self) -> Reading:
        """For the forecast: a reading with this estimate's own error."""
        return Reading(self.hour, self.sg, self.sd_plato)


@dataclass(frozen=True, slots=True)
class _Fit:
    """Factor and offset with their covariance."""

    factor: float
    offset_w: float
    factor_var: float
    offset_var: float
    covariance: float


def heat_estimate(
    original_sg: float,
    volume_l: float,
    readings: Sequence[Reading],
    heat: Sequence[HeatStretch],
    now_h: float,
) -> HeatEstimate:
    """The gravity at `now_h` by the heat since the newest reading.

    Args:
        original_sg: corrected, before fermentation.
        volume_l: of beer, above 0.
        readings: corrected, in order; hydrometer only.
        heat: stretches in order that do not overlap; holes are allowed.
        now_h: hours since pitching.

    Raises:
        GravityError: a gravity is outside its range.
    """
    heat = heat[-STRETCHES_MAX:]
    joules_per_plato = heat_per_plato(original_sg, volume_l)
    original_plato = plato_from_sg(original_sg)
    marks = [Reading(0.0, original_sg), *(each for each in readings if 0.0 < each.hour <= now_h)]
    fit = _fitted(marks, heat, joules_per_plato)
    last = marks[-1]
    warmth_j, offset_s, known = _sums(heat, last.hour, now_h)
    fall = (fit.factor * warmth_j + fit.offset_w * offset_s) / joules_per_plato
    variance = (
        warmth_j**2 * fit.factor_var
        + offset_s**2 * fit.offset_var
        + 2.0 * warmth_j * offset_s * fit.covariance
    ) / joules_per_plato**2
    sd_plato = sqrt(max(variance, 0.0) + last.sd_plato**2)
    plato = min(max(last.plato - fall, -1.0), original_plato)
    half = EIGHTY * sd_plato
    return HeatEstimate(
        hour=now_h,
        sg=sg_from_plato(plato),
        low_sg=sg_from_plato(max(plato - half, -5.0)),
        high_sg=sg_from_plato(min(plato + half, original_plato + half)),
        sd_plato=sd_plato,
        factor=fit.factor,
        offset_w=fit.offset_w,
        why_not=_why_not(known, half, fall, now_h - last.hour),
    )


def hourly_heat(
    samples: Iterable[tuple[float, float, float]], pitched_utc_s: float
) -> tuple[HeatStretch, ...]:
    """Stretches of an hour from single reports, in order; an hour without any is left out.

    Args:
        samples: time in UTC seconds, ferment watts and their standard deviation, as a controller
            reports them, in any order.
        pitched_utc_s: from which hours count; what lies before is left out.
    """
    hours: dict[int, list[tuple[float, float]]] = {}
    for utc_s, ferment_w, sd_w in samples:
        hour = int((utc_s - pitched_utc_s) // 3600.0)
        if hour >= 0:
            hours.setdefault(hour, []).append((ferment_w, sd_w))
    return tuple(
        HeatStretch(
            float(hour),
            hour + 1.0,
            sum(watts for watts, _ in found) / len(found),
            sum(sd_w for _, sd_w in found) / len(found),
        )
        for hour, found in sorted(hours.items())
    )


def heat_per_plato(original_sg: float, volume_l: float) -> float:
    """The heat in J that goes with one °P of apparent fall in this volume.

    Source: 586 kJ per kg of extract; real extract falls by 1 / (1 + q) of the apparent (Balling).
    """
    original_plato = plato_from_sg(original_sg)
    real_share = real_plato(original_plato, 1.0) - real_plato(original_plato, 0.0)
    mass_kg = volume_l * original_sg * water_kg_per_m3(20.0) / 1000.0
    return mass_kg * real_share / 100.0 * HEAT_J_PER_KG


def _fitted(marks: Sequence[Reading], heat: Sequence[HeatStretch], joules_per_plato: float) -> _Fit:
    """Least squares of factor and offset over the spans between readings, held by their priors."""
    offset_sd = max([OFFSET_W_SD_MIN, *(each.sd_w for each in heat)])
    a, b, c = 1.0 / FACTOR_SD**2, 0.0, 1.0 / offset_sd**2
    right_factor, right_offset = 1.0 / FACTOR_SD**2, 0.0
    for before, after in pairwise(marks):
        warmth_j, span_s, known = _sums(heat, before.hour, after.hour)
        if known < KNOWN_SHARE:
            continue
        fell_j = (before.plato - after.plato) * joules_per_plato
        sd_j = sqrt(before.sd_plato**2 + READING_SD_PLATO**2) * joules_per_plato
        a += warmth_j**2 / sd_j**2
        b += warmth_j * span_s / sd_j**2
        c += span_s**2 / sd_j**2
        right_factor += warmth_j * fell_j / sd_j**2
        right_offset += span_s * fell_j / sd_j**2
    determinant = a * c - b * b
    return _Fit(
        factor=(c * right_factor - b * right_offset) / determinant,
        offset_w=(a * right_offset - b * right_factor) / determinant,
        factor_var=c / determinant,
        offset_var=a / determinant,
        covariance=-b / determinant,
    )


def _sums(heat: Sequence[HeatStretch], from_h: float, to_h: float) -> tuple[float, float, float]:
    """Heat in J and time in s from here to there, holes filled at the mean, and the share known."""
    span_h = to_h - from_h
    if span_h <= 0.0:
        return 0.0, 0.0, 1.0
    joules = known_h = 0.0
    for each in heat:
        inside_h = min(each.to_h, to_h) - max(each.from_h, from_h)
        if inside_h > 0.0:
            joules += each.ferment_w * inside_h * 3600.0
            known_h += inside_h
    known = min(known_h / span_h, 1.0)
    filled_j = joules / known if known > 0.0 else 0.0
    return filled_j, span_h * 3600.0, known


def _why_not(known: float, half_plato: float, fall: float, since_h: float) -> str | None:
    """Why the estimate is not worth showing; None: it is."""
    if known < KNOWN_SHARE:
        return f"The heat is known for only {known:.0%} of the {since_h:.0f} h since the reading."
    if half_plato > max(WORTH_PLATO, WORTH_SHARE * fall):
        return f"It may be off by {half_plato:.1f} °P; a reading now says more and sharpens it."
    return None
