"""Signatures: what temperature does not explain, and what it looks like.

Each trouble leaves its own mark on the curve in warm hours: a poor pitch waits long and then runs,
a poor wort stops high at full speed. A mark is a chance over the likely courses, never a proof; so
each names the test that would tell it from its neighbours. It reads gravities and courses, and
knows no hours of cold.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from dashboard.fermentation.course.kinetics import Course, Reading
from dashboard.fermentation.course.posterior import Posterior, quantile
from dashboard.fermentation.course.prior import Prior
from dashboard.fermentation.course.warmth import WarmClock
from dashboard.fermentation.gravity import plato_from_sg
from dashboard.fermentation.strains import Strain

BEGUN, RUN, DONE = 0.10, 0.70, 0.95  # Why: lag, main phase and tail of a course.
LONGER = 1.4  # Why: two batches of one recipe differ by a quarter; this is beyond it.
MUCH_SLOWER = 1.6  # Why: as above, squared: the whole curve hangs on one rate.
FORCED_PLATO = 0.5  # Source: as in `terminal`: two hydrometers' difference.
RISE_PLATO = 0.5  # Why: two SG points up is no fermentation and no usual error.
CREEP_PLATO = 0.3  # Why: more than two readings of a still beer differ.
HOT_H = 3.0  # Why: a probe's spike is shorter.
NAMED = 0.5  # Why: as likely as not; below it a name would only frighten.
CERTAIN = 0.99  # Why: what was seen in the readings themselves is taken as seen.


class Signature(Enum):
    """What a curve can look like."""

    LOW_PITCH = "too little or tired yeast"
    LATE_START = "a late start"
    LOW_OXYGEN = "too little oxygen at pitching"
    LOW_NUTRIENT = "too little nutrient"
    POOR_WORT = "a wort that ferments no further"
    STOPPED = "an early stop"
    TOO_HOT = "too hot for the yeast"
    READING = "a reading in error"
    HOP_CREEP = "hop creep"


TESTS: dict[Signature, str] = {
    Signature.LOW_PITCH: "Count or weigh the next pitch; if oxygen was short instead, the end is"
    " high too.",
    Signature.LATE_START: "With this kind of yeast a small pitch is usual and no fault; only a"
    " larger one next time tells.",
    Signature.LOW_OXYGEN: "A forced test (aerated, over-pitched, warm sample) that ends lower than"
    " the batch points here; one that stops at the same gravity points to the wort.",
    Signature.LOW_NUTRIENT: "Feed half of a sample with yeast nutrient and keep both warm: only a"
    " hungry one speeds up. A smell of sulphur points here too.",
    Signature.POOR_WORT: "A forced test (aerated, over-pitched, warm sample) that stops at the same"
    " gravity proves it; lower points to yeast or oxygen.",
    Signature.STOPPED: "Make a forced test of the wort or beer (aerated, over-pitched, warm): the"
    " same gravity means the wort ferments no further, a lower one means yeast or oxygen.",
    Signature.TOO_HOT: "Repitch a sample with fresh yeast inside its range: if it ferments on, the"
    " heat hurt the first.",
    Signature.READING: "Read a degassed sample at 20 °C twice, and check the hydrometer in water.",
    Signature.HOP_CREEP: "Keep a dry-hopped and an unhopped sample warm for three days: only the"
    " hopped one falls.",
}


@dataclass(frozen=True, slots=True)
class Sign:
    """A mark that was found. `chance` is 0 to 1; `lost_h` is warm hours beyond the expected (0
    where none belong to it); `short_plato` is how far above the expected end it stays.
    """

    signature: Signature
    chance: float
    lost_h: float
    short_plato: float
    test: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the signs are read from."""

    strain: Strain
    prior: Prior
    posterior: Posterior
    readings: tuple[Reading, ...]
    clock: WarmClock
    forced_sg: float | None = None
    hopped_hour: float | None = None


def signs(evidence: Evidence) -> tuple[Sign, ...]:
    """Every mark with a chance of a half or more, the likeliest first."""
    found = [*_course_signs(evidence), *_reading_signs(evidence)]
    named = [each for each in found if each.chance >= NAMED]
    return tuple(sorted(named, key=lambda each: -each.chance))


def _course_signs(evidence: Evidence) -> list[Sign]:
    expected = evidence.prior.course((0.0, 0.0, 0.0, 0.0))
    weights, courses = evidence.posterior.weights, evidence.posterior.courses
    lag0, main0 = _lag_h(expected), _main_h(expected)
    lags, mains = [_lag_h(each) for each in courses], [_main_h(each) for each in courses]
    late_h = quantile(lags, weights, 0.5) - lag0
    slow_h = quantile(mains, weights, 0.5) - main0
    late = slow = 0.0
    for weight, lag, main in zip(weights, lags, mains, strict=True):
        late += weight * (lag > LONGER * lag0 and main < MUCH_SLOWER * main0)
        slow += weight * (main >= MUCH_SLOWER * main0)
    is_kveik = evidence.strain.category == "kveik"
    waited = Signature.LATE_START if is_kveik else Signature.LOW_PITCH
    return [
        _sign(waited, late, max(late_h, 0.0)),
        _sign(Signature.LOW_NUTRIENT, slow, max(slow_h + max(late_h, 0.0), 0.0)),
        *_end_signs(evidence),
    ]


def _end_signs(evidence: Evidence) -> list[Sign]:
    """What a high end looks like: the forced test decides, else the heat it had."""
    strain, prior = evidence.strain, evidence.prior
    if not evidence.readings:
        return []
    least = min(strain.attenuation_low, prior.attenuation - prior.attenuation_sd)
    limit_plato = prior.original_plato * (1.0 - least)
    pairs = zip(evidence.posterior.weights, evidence.posterior.courses, strict=True)
    high = sum(weight for weight, course in pairs if course.final_plato > limit_plato)
    finals = [each.final_plato for each in evidence.posterior.courses]
    final_plato = quantile(finals, evidence.posterior.weights, 0.5)
    short_plato = final_plato - prior.original_plato * (1.0 - prior.attenuation)
    signature = Signature.STOPPED
    if evidence.forced_sg is not None:
        is_the_wort = plato_from_sg(evidence.forced_sg) > final_plato - FORCED_PLATO
        signature = Signature.POOR_WORT if is_the_wort else Signature.LOW_OXYGEN
    if _hot_h(evidence) >= HOT_H and signature is not Signature.POOR_WORT:
        signature = Signature.TOO_HOT
    return [_sign(signature, high, 0.0, max(short_plato, 0.0))]


def _reading_signs(evidence: Evidence) -> list[Sign]:
    found = []
    readings = evidence.readings
    for before, after in pairwise(readings):
        if after.plato - before.plato > RISE_PLATO:
            found.append(_sign(Signature.READING, CERTAIN, 0.0))
            break
    hopped_h = evidence.hopped_hour
    if hopped_h is not None:
        before_hops = [each.plato for each in readings if each.hour <= hopped_h]
        since_hops = [each.plato for each in readings if each.hour > hopped_h]
        was_still = len(before_hops) > 1 and before_hops[-2] - before_hops[-1] < CREEP_PLATO / 2.0
        if was_still and since_hops and before_hops[-1] - since_hops[-1] > CREEP_PLATO:
            found.append(_sign(Signature.HOP_CREEP, CERTAIN, 0.0))
    return found


def _hot_h(evidence: Evidence) -> float:
    """Hours above the ceiling of this kind of yeast."""
    warmth = evidence.clock.warmth
    hours = range(int(warmth.measured_h) + 1)
    return float(sum(warmth.at(h) > evidence.strain.expected.ceiling_c for h in hours))


def _lag_h(course: Course) -> float:
    return course.warm_h_at(BEGUN)


def _main_h(course: Course) -> float:
    return course.warm_h_at(RUN) - course.warm_h_at(BEGUN)


def _sign(signature: Signature, chance: float, lost_h: float, short_plato: float = 0.0) -> Sign:
    return Sign(signature, chance, lost_h, short_plato, TESTS[signature])
