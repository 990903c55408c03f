"""Gravity: what a typed hydrometer reading says about the beer, and whether it can be meant.

It changes specific gravity (SG, 20 °C over 20 °C, in air) to degrees Plato and back, takes the
sample's temperature out of a reading, and catches slips of typing before they become history. It
refuses impossible readings with what was probably meant; it never changes one silently. First in
the flow of `dashboard/fermentation`: everything after it works on the SG it returns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboard.errors import EntryError
from dashboard.facts import GravityUnit

# Source: ASBC table as a cubic in SG 20/20, printed in encyclopaedia texts on the Brix scale.
PLATO_OF_SG = (-616.868, 1111.14, -630.272, 135.997)
# Source: ICUMSA SPS-4 sucrose solution density: powers of the mass fraction, one row for each power
# of (t - 20)/100, in kg/m3 above water.
SUCROSE_ROWS = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
# Source: ICUMSA SPS-4, density of water in kg/m3 as powers of °C, over 1 + WATER_DIVISOR * t.
WATER_POWERS = (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)
WATER_DIVISOR = 16.887236e-3  # Source: ICUMSA SPS-4, as above.
GLASS_PER_K = 25e-6  # Source: volume expansion of soda-lime glass, from memory.

SG_MIN = 0.980  # Why: no beer is lighter; a 20 °P wort with all its extract gone reads 0.982.
SG_MAX = 1.170  # Why: 38 °P, heavier than any wort yeast will start in.
SAMPLE_C_MIN = 0.0  # Why: below it a sample is ice and a probe is lost.
SAMPLE_C_MAX = 50.0  # Why: the correction is checked to 45 °C, and 50 °F is no hot sample.
CALIBRATED_C_MIN = 10.0  # Why: hydrometers are made for 15, 15.6, 17.5, 20 or 25 °C.
CALIBRATED_C_MAX = 30.0  # Why: as above; 60 or 68 here is a figure in °F.
# Source: Balling at 12 °P: of 1 °P of apparent drop, 0.19 is extract the alcohol hides and 0.42 is
# alcohol.
DISSOLVED_PER_DROP = 0.61
USUAL_ORIGINAL_SG = 1.048  # Why: 12 °P, the middle of the trade, when the original is not known.
HOT_SAMPLE_C = 45.0  # Why: the hottest a profile may ask for; a hotter sample was not fermenting.
MEANINGS_MAX = 2  # Why: a third guess helps nobody.
PLATO_STEP = 0.05  # Why: no saccharometer for brewers is divided more finely than this.


class GravityError(EntryError):
    """A gravity or a sample temperature that cannot be meant. Whoever typed it must act."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What was probably meant: this value on this scale."""

    value: float
    unit: GravityUnit

    def __str__(self) -> str:
        if self.unit is GravityUnit.SG:
            return f"SG {self.value:.4f}".removesuffix("0")
        return f"{self.value:g} °P"


def plato_from_sg(sg: float) -> float:
    """Degrees Plato (g extract in 100 g) of an SG 20/20 from 0.980 to 1.170.

    Within 0.01 °P of ICUMSA from 1.000 to 1.130, 0.07 °P at 1.170. Below 1.000 the result is
    negative, as the apparent extract of a dry beer is.

    Raises:
        GravityError: `sg` is not a number in the range.
    """
    if not SG_MIN <= sg <= SG_MAX:  # NaN fails too
        raise GravityError(
            f"A specific gravity of {sg:g} is outside {SG_MIN:.3f} to {SG_MAX:.3f}.",
            "Type it as shown on the hydrometer, like 1.048.",
        )
    return _plato(sg)


def sg_from_plato(plato: float) -> float:
    """SG 20/20 of degrees Plato: the exact inverse of `plato_from_sg`, from -5.26 to 38.2 °P.

    Raises:
        GravityError: `plato` is not a number in the range.
    """
    if not _plato(SG_MIN) <= plato <= _plato(SG_MAX):
        raise GravityError(
            f"{plato:g} °P is outside {_plato(SG_MIN):.1f} to {_plato(SG_MAX):.1f}.",
            "Type the degrees Plato as shown on the hydrometer, like 12.0.",
        )
    _, one, two, three = PLATO_OF_SG
    sg = 1.0 + plato / 258.0
    for _ in range(8):  # The cubic rises everywhere; five turns reach the last digit.
        sg -= (_plato(sg) - plato) / (one + 2 * two * sg + 3 * three * sg * sg)
    return min(max(sg, SG_MIN), SG_MAX)


def water_kg_per_m3(water_c: float) -> float:
    """Density of water at atmospheric pressure, 0 to 60 °C, in kg/m3. Source: ICUMSA SPS-4."""
    return _power_sum(WATER_POWERS, water_c) / (1.0 + WATER_DIVISOR * water_c)


def sucrose_kg_per_m3(mass_share: float, solution_c: float) -> float:
    """Density of a sucrose solution in kg/m3; mass share 0 to 0.4, 0 to 60 °C. Source: ICUMSA
    SPS-4.
    """
    warmth = (solution_c - 20.0) / 100.0
    above_water = _power_sum(
        tuple(mass_share * _power_sum(row, mass_share) for row in SUCROSE_ROWS), warmth
    )
    return water_kg_per_m3(solution_c) + above_water


def corrected_sg(
    entered_sg: float,
    sample_c: float,
    calibrated_c: float = 20.0,
    original_sg: float | None = None,
) -> float:
    """The SG the hydrometer would show at the temperature it is made for.

    The liquid thins as it warms (by the ICUMSA sucrose densities) and the glass swells a little; a
    reading at 35 °C is 4 to 6 points too low. Alcohol loosens water with heat about as much, mass
    for mass, as sugar does, so both count as dissolved: within 0.1 point of OIML R 22 ethanol
    densities from 12 to 40 °C, 0.3 point at 0 °C.

    Args:
        entered_sg: the reading as shown, 0.980 to 1.170.
        sample_c: temperature of the sample when read, 0 to 50 °C.
        calibrated_c: temperature the hydrometer is made for, 10 to 30 °C. A scale for 15.6 °C stays
            one over water at 15.6 °C, which differs from 20 °C by less than 0.0002.
        original_sg: corrected SG before fermentation; None: 12 °P, or the reading if heavier.

    Raises:
        GravityError: one of them is outside its range, with what was probably meant.
    """
    check_temperatures(sample_c, calibrated_c)
    true_sg = entered_sg
    for _ in range(4):  # The dissolved share depends on the answer, weakly.
        share = _dissolved_share(true_sg, original_sg or USUAL_ORIGINAL_SG)
        thinning = sucrose_kg_per_m3(share, calibrated_c) / sucrose_kg_per_m3(share, sample_c)
        true_sg = entered_sg * thinning / (1.0 + GLASS_PER_K * (sample_c - calibrated_c))
    return true_sg


def sg_of_reading(
    entered: float,
    unit: GravityUnit,
    sample_c: float,
    calibrated_c: float = 20.0,
    original_sg: float | None = None,
) -> float:
    """The corrected SG 20/20 of a reading as typed, on either scale.

    Raises:
        GravityError: it cannot be meant, with what probably was.
    """
    check_entry(entered, unit)
    shown_sg = entered if unit is GravityUnit.SG else sg_from_plato(entered)
    return corrected_sg(shown_sg, sample_c, calibrated_c, original_sg)


def likely_meaning(entered: float, unit: GravityUnit) -> tuple[Meaning, ...]:
    """What a number that cannot be a gravity on this scale probably means, likeliest first.

    Empty when the number is fine as it is, or when nothing sensible comes near.
    """
    if not math.isfinite(entered):
        return ()
    if unit is GravityUnit.PLATO:
        return _meaning_of_plato(entered)
    if SG_MIN <= entered <= SG_MAX:
        return ()
    found = []
    if SG_MAX < entered <= _plato(SG_MAX) and _is_on_plato_scale(entered):
        found.append(Meaning(entered, GravityUnit.PLATO))
    for scale in (10.0, 100.0, 1000.0):  # The point forgotten or misplaced: 10.48, 104.8, 1048.
        if SG_MIN <= entered / scale <= SG_MAX:
            found.append(Meaning(round(entered / scale, 5), GravityUnit.SG))
    is_points = 2.0 <= entered < 1000.0 * (SG_MAX - 1.0) and (2.0 * entered).is_integer()
    if is_points:  # Points without the 1.0 before them: 48.
        found.append(Meaning(round(1.0 + entered / 1000.0, 5), GravityUnit.SG))
    if 0.0 < entered <= SG_MAX - 1.0:  # The 1 before the point forgotten: 0.048.
        found.append(Meaning(round(1.0 + entered, 5), GravityUnit.SG))
    return tuple(found[:MEANINGS_MAX])


def check_entry(entered: float, unit: GravityUnit) -> None:
    """Refuse a number that cannot be a gravity on this scale.

    Raises:
        GravityError: it names the value, the range and what was probably meant.
    """
    low, high = (SG_MIN, SG_MAX) if unit is GravityUnit.SG else (_plato(SG_MIN), _plato(SG_MAX))
    meanings = likely_meaning(entered, unit)
    if low <= entered <= high and not meanings:
        return
    if unit is GravityUnit.SG:
        what = f"{entered:g} is not a specific gravity: those lie from {low:.3f} to {high:.3f}."
        remedy = "Type it as shown on the hydrometer, like 1.048."
    else:
        what = f"{entered:g} is not a reading in °P: those lie from {low:.1f} to {high:.1f}, " + (
            f"in steps of {PLATO_STEP:g} at the finest."
        )
        remedy = "Type the degrees Plato as shown, like 12.0, or choose SG."
    if meanings:
        remedy = (
            f"Probably {' or '.join(map(str, meanings))} was meant; choose that scale and type it."
        )
    raise GravityError(what, remedy)


def entry_doubts(entered: float, unit: GravityUnit, sample_c: float) -> tuple[str, ...]:
    """Questions to ask about a reading that `check_entry` allows but that may be a slip. Empty:
    nothing is odd.
    """
    found = []
    if unit is GravityUnit.PLATO and 1.0 <= entered <= SG_MAX:
        found.append(
            f"{entered:g} °P is SG {sg_from_plato(entered):.3f}. If the hydrometer shows SG"
            f" {entered:.3f}, choose SG."
        )
    if sample_c > HOT_SAMPLE_C:
        found.append(
            f"{sample_c:g} °C is hotter than any ferment. If {sample_c:g} °F is meant, type"
            f" {(sample_c - 32.0) / 1.8:.1f} (°C)."
        )
    return tuple(found)


def check_temperatures(sample_c: float, calibrated_c: float) -> None:
    """Refuse a sample or a calibration temperature that cannot be in °C.

    Raises:
        GravityError: it gives the value in °C when it was probably typed in °F.
    """
    rows = (
        (
            "sample",
            sample_c,
            SAMPLE_C_MIN,
            SAMPLE_C_MAX,
            "Bring the sample between 10 and 40 °C and read it again.",
        ),
        (
            "hydrometer's own",
            calibrated_c,
            CALIBRATED_C_MIN,
            CALIBRATED_C_MAX,
            "It is printed on the hydrometer; most are made for 20 °C.",
        ),
    )
    for whose, temperature_c, low, high, remedy in rows:
        if low <= temperature_c <= high:
            continue
        meant_c = (temperature_c - 32.0) / 1.8
        if low <= meant_c <= high and temperature_c > high:
            remedy = f"If {temperature_c:g} °F is meant, type {meant_c:.1f} (°C). {remedy}"
        raise GravityError(
            f"The {whose} temperature of {temperature_c:g} °C is outside {low:g} to {high:g} °C.",
            remedy,
        )


def _plato(sg: float) -> float:
    return _power_sum(PLATO_OF_SG, sg)


def _power_sum(factors: tuple[float, ...], x: float) -> float:
    total = 0.0
    for factor in reversed(factors):
        total = total * x + factor
    return total


def _dissolved_share(apparent_sg: float, original_sg: float) -> float:
    """Mass share of extract and alcohol together, 0 to 0.4."""
    apparent = _plato(apparent_sg)
    original = max(_plato(original_sg), apparent)
    return max(0.0, apparent + DISSOLVED_PER_DROP * (original - apparent)) / 100.0


def _is_on_plato_scale(entered: float) -> bool:
    """Whether a saccharometer's marks can show it: 10.45 yes, 1.048 no."""
    marks = entered / PLATO_STEP
    return abs(marks - round(marks)) < 1e-6


def _meaning_of_plato(entered: float) -> tuple[Meaning, ...]:
    if 1.0 <= entered <= SG_MAX and not _is_on_plato_scale(entered):
        return (Meaning(entered, GravityUnit.SG),)
    if 1000.0 * SG_MIN <= entered <= 1000.0 * SG_MAX:
        return (Meaning(round(entered / 1000.0, 5), GravityUnit.SG),)
    if _plato(SG_MAX) < entered <= 10.0 * _plato(SG_MAX):
        return (Meaning(round(entered / 10.0, 5), GravityUnit.PLATO),)
    return ()
