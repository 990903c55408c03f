"""Refractometer: the gravity of a beer from its refraction, from pitching to the end.

Alcohol bends light too, so from the first day on a refractometer shows too much. The published
cubic puts that right near the end of a ferment and is badly wrong at its start (1.041 for an
unfermented 1.048), so a line that begins at the wort's own gravity is blended into it by how far
the reading has dropped. It needs the refraction of the wort before pitching, and is good to two
points of SG: enough to follow a course, never to call its end.
"""

from __future__ import annotations

from dashboard.fermentation.gravity import SG_MAX, SG_MIN, GravityError, sg_from_plato

WORT_FACTOR = 1.04  # Source: the usual factor; texts give 1.02 to 1.06 (bwelman, collected notes).
WORT_FACTOR_MIN, WORT_FACTOR_MAX = 0.95, 1.15  # Why: outside it the wort was measured wrongly.
BRIX_MAX = 38.0  # Why: heavier than any wort yeast will start in.
RISE_SHARE = 0.03  # Why: evaporation and two samples of one wort differ by this much.
# Source: S. Terrill 2011, cubic in initial and present Brix over the wort factor, read in six
# public codes; for finished beer of 8 to 25 °Bx.
CUBIC_FIRST = (-0.0044993, 0.00027581, -0.00000728)
CUBIC_NOW = (0.011774, -0.0012717, 0.000063293)
# Why: 0.65 of the first reading is the top of the cubic's range; above it, and the sooner the
# stronger the wort, it turns away from the truth.
BLEND_FROM, BLEND_TO = 0.60, 0.72
SD_PLATO = 0.5  # Why: one to two points of SG, from memory; a reading's error in the forecast.


def wort_sg(brix: float, wort_factor: float = WORT_FACTOR) -> float:
    """The SG of unfermented wort that shows this many °Bx.

    Raises:
        GravityError: the reading or the factor is outside its range.
    """
    _check(brix, wort_factor)
    return sg_from_plato(brix / wort_factor)


def beer_sg(first_brix: float, brix: float, wort_factor: float = WORT_FACTOR) -> float:
    """The SG of fermenting or finished beer.

    Args:
        first_brix: what the wort showed before pitching.
        brix: what it shows now.
        wort_factor: what the instrument shows over true extract in unfermented wort.

    Raises:
        GravityError: a value is outside its range, or it shows more than before pitching.
    """
    _check(first_brix, wort_factor)
    _check(brix, wort_factor)
    if brix > first_brix * (1.0 + RISE_SHARE):
        raise GravityError(
            f"{brix:g} °Bx is above the {first_brix:g} °Bx of the wort before pitching.",
            "Were the two typed in each other's place? Else clean the prism and read again.",
        )
    first, now = first_brix / wort_factor, min(brix, first_brix) / wort_factor
    if first <= 0.0:
        return 1.0
    straight, ratio = _straight_sg(first, now), now / first
    part = min(max((BLEND_TO - ratio) / (BLEND_TO - BLEND_FROM), 0.0), 1.0)
    part = part * part * (3.0 - 2.0 * part)
    return (1.0 - part) * straight + part * cubic_sg(first, now)


def cubic_sg(first: float, now: float) -> float:
    """The published cubic alone, of readings already divided by the wort factor."""
    powers = zip(CUBIC_FIRST, CUBIC_NOW, strict=True)
    return 1.0 + sum(
        a * first ** (index + 1) + b * now ** (index + 1) for index, (a, b) in enumerate(powers)
    )


def _straight_sg(first: float, now: float) -> float:
    """From the wort's SG in a straight line towards the cubic's end, right at the start.

    Of each °Bx the reading falls, the extract falls by about twice as much, for alcohol keeps the
    refraction up; the slope is the one that meets the cubic at the top of its range.
    """
    start_sg = sg_from_plato(first)
    met_sg = cubic_sg(first, BLEND_FROM * first)
    return start_sg - (start_sg - met_sg) * (1.0 - now / first) / (1.0 - BLEND_FROM)


def _check(brix: float, wort_factor: float) -> None:
    is_an_sg = SG_MIN <= brix <= SG_MAX
    if is_an_sg or not 0.0 <= brix <= BRIX_MAX:
        remedy = "Type the refractometer's °Bx as shown, like 12.4."
        if is_an_sg:
            remedy = "That looks like an SG; read the Brix scale, or enter it as a hydrometer's."
        raise GravityError(
            f"{brix:g} °Bx is no reading of wort or beer; those lie from 1.2 to {BRIX_MAX:g}.",
            remedy,
        )
    if not WORT_FACTOR_MIN <= wort_factor <= WORT_FACTOR_MAX:
        raise GravityError(
            f"A wort factor of {wort_factor:g} is outside {WORT_FACTOR_MIN:g} to"
            f" {WORT_FACTOR_MAX:g}.",
            f"Use {WORT_FACTOR:g}, or its °Bx over a hydrometer's °P of the same wort.",
        )
