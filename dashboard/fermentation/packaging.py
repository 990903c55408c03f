"""Packaging: the gas a beer still holds, the pressure of a keg, the sugar for bottles.

Each figure names its convention, because texts differ by a tenth. A volume of CO2 is the gas of one
litre at 0 °C and 1 atm in a litre of beer. Sugar is refused before terminal gravity: what has not
fermented yet will burst bottles. No figure here makes a vessel safe; its relief valve does.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import exp

from dashboard.errors import EntryError
from dashboard.fermentation.terminal import Verdict

# Source: Fernández-Prini, Alvarez & Harvey 2003, J. Phys. Chem. Ref. Data 32:903, CO2 in water, as
# IAPWS Guideline G7-04 prints it: ln(kH / p) = A/T + B (1-T)^0.355 / T + C e^(1-T) T^-0.41.
HENRY = (-8.55445, 4.01195, 9.52345)
CRITICAL_K = 647.096  # Source: IAPWS: water's critical temperature.
CRITICAL_KPA = 22_064.0  # Source: IAPWS: water's critical pressure.
# Source: Wagner & Pruss 1993, J. Phys. Chem. Ref. Data 22:783: ln(p/pc) = Tc/T sum a theta^n.
VAPOUR = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
ZERO_K = 273.15  # Source: definition of the degree Celsius.
ATMOSPHERE_KPA = 101.325  # Source: definition.
WATER_MOL_PER_L = 55.4  # Source: 998 g/L over 18.015 g/mol.
VOLUME_L_PER_MOL = 22.26  # Source: one mol of CO2 as a real gas at 0 °C and 1 atm.
CO2_G_PER_MOL = 44.01  # Source: IUPAC atomic weights.
G_PER_L_PER_VOLUME = CO2_G_PER_MOL / VOLUME_L_PER_MOL  # Why: 1.977 g/L, the 0 °C convention.
# Why: beer takes up a little less gas than water; with 0.975 the law lies within 0.6 psi of both
# published fits to the trade's table from 0 to 10 °C (tests/published).
BEER_SHARE = 0.975
KPA_PER_PSI = 6.894757  # Source: definition of the pound-force per square inch.
SCALE_HEIGHT_M = 8434.0  # Source: ICAO standard atmosphere near the sea: RT/g at 15 °C.
BEER_C_MIN, BEER_C_MAX = -2.0, 45.0  # Why: ice below it, no yeast above it.
VOLUMES_MAX = 4.0  # Why: ordinary bottles are made for less, and no keg is meant for more.
CAUTION_VOLUMES = 3.0  # Why: thick glass only, common practice, no source.
CAUTION_KPA = 200.0  # Why: soda kegs take more, but hoses, taps and plastic vessels may not.
LITRES_MAX = 2000.0  # Why: a brewery's tank is not primed from this page.
SHORT_FALL_VOLUMES = 0.5  # Source: 0.001 SG is 0.25 °P, 0.2 % real extract, 0.46 g CO2 per g.


class Sugar(Enum):
    """What bottles are primed with, and the CO2 in g that a gram gives when all of it ferments.

    Source: stoichiometry, two molecules of CO2 for each hexose (44.01 * 2 / molar mass).
    """

    GLUCOSE = ("anhydrous glucose", 0.4886)
    GLUCOSE_WET = ("glucose monohydrate (corn sugar)", 0.4442)
    SUCROSE = ("sucrose (table sugar)", 0.5143)

    def __init__(self, words: str, co2_g_per_g: float) -> None:
        self.words, self.co2_g_per_g = words, co2_g_per_g


@dataclass(frozen=True, slots=True)
class Figure:
    """A number with what it rests on, and what to mind. `cautions` may be empty."""

    value: float
    unit: str
    convention: str
    cautions: tuple[str, ...] = ()


def residual_volumes(hottest_c: float) -> Figure:
    """The CO2 a still beer keeps, in volumes, at the highest temperature since it stopped working.

    Raises:
        EntryError: the temperature is outside -2 to 45 °C.
    """
    _check_beer_c(hottest_c)
    gas_kpa = ATMOSPHERE_KPA - vapour_kpa(hottest_c)
    volumes = BEER_SHARE * volumes_in_water(hottest_c, gas_kpa)
    return Figure(
        volumes,
        "volumes",
        f"Henry's law at {hottest_c:g} °C, the highest since activity ended, under 1 atm of CO2 and"
        f" water vapour, {BEER_SHARE:g} of water's. Volumes at 0 °C.",
        ("Long hot storage leaves less; a beer that just stopped may hold more.",),
    )


def keg_kpa(volumes: float, beer_c: float, height_m: float = 0.0) -> Figure:
    """The gauge pressure in kPa at which beer this cold comes to hold these volumes.

    Args:
        volumes: 0.5 to 4.0.
        beer_c: the beer in the keg, -2 to 45 °C.
        height_m: of the place above the sea; there the same gauge holds less.

    Raises:
        EntryError: a value is outside its range.
    """
    _check_beer_c(beer_c)
    _check_volumes(volumes)
    outside_kpa = ATMOSPHERE_KPA * exp(-height_m / SCALE_HEIGHT_M)
    gas_kpa = volumes / (BEER_SHARE * volumes_in_water(beer_c, 1.0))
    gauge_kpa = max(0.0, gas_kpa + vapour_kpa(beer_c) - outside_kpa)
    cautions = []
    if gauge_kpa > CAUTION_KPA:
        cautions.append(
            f"{gauge_kpa / 100.0:.1f} bar: use only a vessel, hose and regulator rated for more,"
            " with a working relief valve; or chill the beer first."
        )
    return Figure(
        gauge_kpa,
        "kPa",
        f"Gauge pressure at balance with beer at {beer_c:g} °C, {height_m:g} m above the sea."
        f" Henry's law, {BEER_SHARE:g} of water's. Volumes at 0 °C.",
        tuple(cautions),
    )


def priming_g(
    target_volumes: float, hottest_c: float, litres: float, sugar: Sugar, verdict: Verdict
) -> Figure:
    """The sugar in g that brings bottled beer to these volumes.

    Args:
        target_volumes: 0.5 to 4.0.
        hottest_c: as for `residual_volumes`.
        litres: of beer.
        sugar: what to prime with.
        verdict: of `terminal_verdict`; it must be terminal.

    Raises:
        EntryError: the beer is not proved finished, or a value is outside its range.
    """
    if not verdict.is_terminal:
        missing = " ".join(each.what for each in verdict.missing)
        raise EntryError(
            f"No sugar for bottles: terminal gravity is not proved. {missing}",
            "Wait until it is. Each 0.001 SG still to fall adds about half a volume, and bottles"
            " burst.",
        )
    _check_volumes(target_volumes)
    if not 0.0 < litres <= LITRES_MAX:
        raise EntryError(f"{litres:g} L cannot be primed.", f"Type 0.1 to {LITRES_MAX:g} L.")
    held = residual_volumes(hottest_c).value
    grams_co2 = max(0.0, target_volumes - held) * G_PER_L_PER_VOLUME * litres
    cautions = [
        f"Each 0.001 SG that still falls adds about {SHORT_FALL_VOLUMES:g} volume.",
        "Weigh the sugar, mix it evenly, and keep bottles where a burst one hurts nobody.",
    ]
    if target_volumes > CAUTION_VOLUMES:
        cautions.insert(0, "Above 3 volumes use only bottles made for it.")
    if verdict.caution is not None:
        cautions.insert(0, verdict.caution)
    return Figure(
        grams_co2 / sugar.co2_g_per_g,
        "g",
        f"{sugar.words}, {sugar.co2_g_per_g:g} g CO2 per g by stoichiometry;"
        f" {held:.2f} volumes held already; {G_PER_L_PER_VOLUME:.3f} g/L per volume (0 °C; texts"
        " that measure the gas at 20 °C give 8 % less sugar).",
        tuple(cautions),
    )


def volumes_in_water(water_c: float, gas_kpa: float) -> float:
    """The CO2 in volumes that water holds under this partial pressure; -2 to 60 °C.

    Source: Fernández-Prini et al. 2003 (see HENRY).
    """
    mole_share = gas_kpa / henry_kpa(water_c)
    return mole_share / (1.0 - mole_share) * WATER_MOL_PER_L * VOLUME_L_PER_MOL


def henry_kpa(water_c: float) -> float:
    """Henry's constant of CO2 in water: partial pressure over mole fraction, in kPa."""
    reduced = (water_c + ZERO_K) / CRITICAL_K
    a, b, c = HENRY
    rest = 1.0 - reduced
    logarithm = a / reduced + b * rest**0.355 / reduced + c * exp(rest) * reduced**-0.41
    return vapour_kpa(water_c) * exp(logarithm)


def vapour_kpa(water_c: float) -> float:
    """The vapour pressure of water in kPa. Source: Wagner & Pruss 1993."""
    reduced = (water_c + ZERO_K) / CRITICAL_K
    powers = sum(factor * (1.0 - reduced) ** power for factor, power in VAPOUR)
    return CRITICAL_KPA * exp(powers / reduced)


def psi(kpa: float) -> float:
    """Kilopascals as pounds per square inch."""
    return kpa / KPA_PER_PSI


def _check_beer_c(beer_c: float) -> None:
    if not BEER_C_MIN <= beer_c <= BEER_C_MAX:
        raise EntryError(
            f"A beer of {beer_c:g} °C is outside {BEER_C_MIN:g} to {BEER_C_MAX:g} °C.",
            "Type its temperature in °C.",
        )


def _check_volumes(volumes: float) -> None:
    if not 0.5 <= volumes <= VOLUMES_MAX:
        raise EntryError(
            f"{volumes:g} volumes of CO2 is outside 0.5 to {VOLUMES_MAX:g}.",
            "Most ales want 1.5 to 2.7; more belongs in bottles made for it.",
        )
