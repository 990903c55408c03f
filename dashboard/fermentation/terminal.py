"""Terminal gravity: whether a beer is finished, and if not, which proof is missing.

Flat readings alone never call it: in 13 of 29 real series the gravity stood still for a day at
under 40 % attenuation, in the lag or in the cold. So five things must hold together, and any dry
hopping after the last one asks for them again, because hops free sugar (hop creep). It knows no
forecast and decides nothing but this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.warmth import STEP_H, Warmth
from dashboard.fermentation.gravity import plato_from_sg
from dashboard.fermentation.strains import Strain

FLAT_PLATO = 0.2  # Source: below 0.001 SG over two or three days, the trade's rule (0.25 °P).
FALL_PLATO_PER_H = 0.01  # Why: a logistic's own end; 0.2 °P in 20 h is still a slow ferment.
ACTIVE_PLATO_PER_H = 0.05  # Why: a lager's slowest active day; no lag and no stall falls so fast.
ACTIVE_H = 6.0  # Why: over less, two readings' errors alone make such a fall.
ACTIVE_SHARE = 0.4  # Why: with so much of the extract gone a ferment was active, seen or not.
FORCED_PLATO = 0.5  # Why: a batch ends as far above its forced test as two hydrometers differ.
COLD_K = 1.0  # Why: a probe's error and an hour's dip do not put a beer out of its range.
COLD_SHARE = 0.1  # Why: a tenth of the window cold delays nothing that matters.
READINGS_MIN = 2  # Why: one reading is never flat.


class Proof(Enum):
    """What must hold before a gravity is called terminal, in the order to see to it."""

    ACTIVE = "active"
    ATTENUATED = "attenuated"
    WATCHED = "watched"
    FLAT = "flat"
    WARM = "warm"


@dataclass(frozen=True, slots=True)
class Missing:
    """A proof that is not there, and what would bring it."""

    proof: Proof
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a beer is finished. `missing` is empty exactly when it is.

    `since_hour` is where the flat stretch began, when there is one. `caution` is what stays true
    of a finished beer.
    """

    is_terminal: bool
    missing: tuple[Missing, ...]
    since_hour: float | None = None
    caution: str | None = None


def terminal_verdict(
    strain: Strain,
    original_sg: float,
    readings: Sequence[Reading],
    warmth: Warmth,
    forced_sg: float | None = None,
    hopped_hour: float | None = None,
) -> Verdict:
    """Whether the readings prove that the beer is finished.

    Args:
        strain: its attenuation range, working range and the hours a gravity must stand.
        original_sg: corrected, before fermentation.
        readings: corrected, in order, hours since pitching; an estimate does not belong here.
        warmth: the temperatures it had.
        forced_sg: the end of a forced test of the same wort, if one was made.
        hopped_hour: when the newest dry hops went in; readings before it prove nothing.
    """
    original_plato = plato_from_sg(original_sg)
    counted = [each for each in readings if hopped_hour is None or each.hour >= hopped_hour]
    flat = _flat_stretch(counted, strain.expected.flat_h)
    last = readings[-1] if readings else None
    found = [
        _no_activity(original_plato, readings),
        _no_attenuation(strain, original_plato, last, forced_sg),
        _no_watch(strain, counted, hopped_hour),
        _no_flatness(strain, counted, flat),
        _no_warmth(strain, warmth, flat),
    ]
    missing = tuple(each for each in found if each is not None)
    since = flat[0].hour if flat else None
    caution = None
    if strain.keeps_falling:
        caution = "This kind of yeast may go on falling for weeks; never bottle it on this alone."
    return Verdict(not missing, missing, since, caution if not missing else None)


def _flat_stretch(readings: Sequence[Reading], flat_h: float) -> tuple[Reading, ...]:
    """The newest readings that stand, when they reach over the whole time asked for; else none."""
    if not readings:
        return ()
    kept: list[Reading] = []
    low = high = readings[-1].plato
    for each in reversed(readings):
        low, high = min(low, each.plato), max(high, each.plato)
        if high - low > FLAT_PLATO:
            break
        kept.insert(0, each)
        span_h = kept[-1].hour - each.hour
        if span_h >= flat_h and (each.plato - kept[-1].plato) / span_h < FALL_PLATO_PER_H:
            return tuple(kept)
    return ()


def _no_activity(original_plato: float, readings: Sequence[Reading]) -> Missing | None:
    points = [(0.0, original_plato), *((each.hour, each.plato) for each in readings)]
    for index, (hour, plato) in enumerate(points):
        for later_h, later in points[index + 1 :]:
            fall = plato - later
            if later_h - hour >= ACTIVE_H and fall >= ACTIVE_PLATO_PER_H * (later_h - hour):
                return None
    if readings and original_plato - readings[-1].plato >= ACTIVE_SHARE * original_plato:
        return None
    return Missing(
        Proof.ACTIVE,
        "No active phase has been seen: the gravity never fell by 0.05 °P an hour.",
        "It may not have begun; check its temperature and the pitch, and read it again in a day.",
    )


def _no_attenuation(
    strain: Strain, original_plato: float, last: Reading | None, forced_sg: float | None
) -> Missing | None:
    wanted_plato = original_plato * (1.0 - strain.attenuation_low)
    source = f"{strain.attenuation_low:.0%}, the least this kind of yeast usually reaches"
    if forced_sg is not None:
        wanted_plato = plato_from_sg(forced_sg) + FORCED_PLATO
        source = f"{1.0 - wanted_plato / original_plato:.0%}, where the forced test puts it"
    if last is not None and last.plato <= wanted_plato:
        return None
    seen = "unknown" if last is None else f"{1.0 - last.plato / original_plato:.0%}"
    return Missing(
        Proof.ATTENUATED,
        f"Apparent attenuation is {seen}, below {source}.",
        "Warm it to the top of its range and rouse it; a forced test of the wort tells whether it"
        " can go further.",
    )


def _no_watch(
    strain: Strain, counted: Sequence[Reading], hopped_hour: float | None
) -> Missing | None:
    flat_h = strain.expected.flat_h
    span_h = counted[-1].hour - counted[0].hour if counted else 0.0
    if len(counted) >= READINGS_MIN and span_h >= flat_h:
        return None
    since = "" if hopped_hour is None else " since the dry hops went in"
    are = "is 1 reading" if len(counted) == 1 else f"are {len(counted)} readings"
    remedy = "Take a reading now and another"
    if counted:
        remedy = "Take the next reading"
    return Missing(
        Proof.WATCHED,
        f"There {are}{since} over {span_h:.0f} h; two must lie {flat_h:.0f} h apart.",
        f"{remedy} {max(flat_h - span_h, 1.0) if counted else flat_h:.0f} h later.",
    )


def _no_flatness(
    strain: Strain, counted: Sequence[Reading], flat: Sequence[Reading]
) -> Missing | None:
    if flat or len(counted) < READINGS_MIN:
        return None
    fall = counted[-2].plato - counted[-1].plato
    return Missing(
        Proof.FLAT,
        f"The gravity has not stood within {FLAT_PLATO:g} °P for {strain.expected.flat_h:.0f} h;"
        f" the last two readings differ by {abs(fall):.1f} °P.",
        "Wait a day and read it again.",
    )


def _no_warmth(strain: Strain, warmth: Warmth, flat: Sequence[Reading]) -> Missing | None:
    if not flat:
        return None
    first_h, last_h = flat[0].hour, flat[-1].hour
    steps = max(1, round((last_h - first_h) / STEP_H))
    hours = [first_h + (last_h - first_h) * index / steps for index in range(steps + 1)]
    cold = [hour for hour in hours if warmth.at(hour) < strain.low_c - COLD_K]
    if len(cold) <= COLD_SHARE * len(hours):
        return None
    lowest_c = min(warmth.at(hour) for hour in cold)
    return Missing(
        Proof.WARM,
        f"While it stood it was as cold as {lowest_c:.1f} °C; this kind of yeast works from"
        f" {strain.low_c:g} °C.",
        f"Bring it back to {strain.expected.usual_c:g} °C and read it again after a day or two.",
    )
