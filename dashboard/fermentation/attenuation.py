"""Attenuation: how far a beer has fermented, from its original and its present gravity.

Apparent and real attenuation, alcohol with the spread of the published models, the point for dry
hops, and the questions to ask before an odd reading is kept. It decides nothing about time and
never calls a beer finished; `forecast` and `agenda` do. All gravities are corrected SG 20/20.
"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.fermentation.gravity import GravityError, plato_from_sg, sg_from_plato

# Source: Balling's attenuation quotient q = 0.22 + 0.001 OE; with ALCOHOL_DIVISOR it gives his
# printed alcohol factors to 0.0001 (Eckhardt's compilation, 1995).
QUOTIENT_START = 0.22
QUOTIENT_PER_PLATO = 0.001  # Source: as above.
# Source: Balling: 2.0665 g extract make 1 g alcohol; A = (OE - RE) / (2.0665 - 0.010665 OE).
ALCOHOL_DIVISOR = (2.0665, 0.010665)
# Source: the fixed real-extract coefficient printed in most brewing texts: 0.1808 OE + 0.8192 AE.
FIXED_ORIGINAL_SHARE = 0.1808
# Source: Cutaia, Reid & Speers 2009, J. Inst. Brew. 115:318-327, Table VI row a (532 brews).
CUTAIA = (0.372, 0.00357)
# Source: OIML R 22: ethanol 789.24 over water 998.20 kg/m3 at 20 °C.
ETHANOL_SG = 0.7907
DRY_HOP_SHARE = 2.0 / 3.0  # Why: common practice, no source: two thirds of the drop is done.
ORIGINAL_SG_MIN = 1.010  # Why: 2.6 °P; a weaker wort makes attenuation a ratio of errors.
DROP_SG_MIN = 0.005  # Why: an expected drop below five points is a slip, not a beer.
# Source: M. Hall 1995, Brew by the Numbers, Zymurgy: kcal in 12 US fl oz from alcohol and extract.
ENERGY_ALCOHOL, ENERGY_EXTRACT = 1881.22, 3550.0
ENERGY_ML = 354.88  # Source: 12 US fluid ounces.
GASSY_SHARE = 0.05  # Why: from the first twentieth on a sample holds enough gas to lift the float.
RISE_SG_MAX = 0.002  # Why: two readings of one sample differ by this much; more needs a reason.


@dataclass(frozen=True, slots=True)
class Attenuation:
    """How far one reading says the beer has come. Shares are 0 to 1.

    `apparent` is the degree of fermentation as a hydrometer shows it (ADF), `real` the one without
    alcohol's buoyancy (RDF); both are a little below 0 when a first reading shows above the
    original. `alcohol_by_volume` is Balling's; `abv_low` and `abv_high` span the published models.
    """

    original_sg: float
    current_sg: float
    original_plato: float
    apparent_plato: float
    real_plato: float
    apparent: float
    real: float
    alcohol_by_weight: float
    alcohol_by_volume: float
    abv_low: float
    abv_high: float


def attenuation(original_sg: float, current_sg: float) -> Attenuation:
    """What a reading says about a beer that began at `original_sg`.

    Args:
        original_sg: 1.010 to 1.170. The models were made on 8 to 20 °P (1.032 to 1.083); outside,
            the spread is wider and less to be trusted.
        current_sg: 0.980 to 1.170.

    Raises:
        GravityError: a gravity is outside its range.
    """
    check_original(original_sg)
    original, apparent = plato_from_sg(original_sg), plato_from_sg(current_sg)
    real = real_plato(original, apparent)
    by_weight = alcohol_by_weight(original, real)
    models = (by_weight, *_other_models(original, apparent))
    by_volume = [max(0.0, model) * current_sg / ETHANOL_SG for model in models]
    return Attenuation(
        original_sg=original_sg,
        current_sg=current_sg,
        original_plato=original,
        apparent_plato=apparent,
        real_plato=real,
        apparent=(original - apparent) / original,
        real=(original - real) / original,
        alcohol_by_weight=max(0.0, by_weight),
        alcohol_by_volume=by_volume[0],
        abv_low=min(by_volume),
        abv_high=max(by_volume),
    )


def real_plato(original_plato: float, apparent_plato: float) -> float:
    """Real extract in °P: what a hydrometer would show with the alcohol replaced by water. Source:
    Balling, RE = (q OE + AE) / (1 + q).
    """
    quotient = QUOTIENT_START + QUOTIENT_PER_PLATO * original_plato
    return (quotient * original_plato + apparent_plato) / (1.0 + quotient)


def alcohol_by_weight(original_plato: float, real_extract_plato: float) -> float:
    """Mass share of alcohol, 0 to 0.2. Source: Balling."""
    per_gram, per_plato = ALCOHOL_DIVISOR
    return (original_plato - real_extract_plato) / (per_gram - per_plato * original_plato) / 100.0


def energy_kcal(original_sg: float, final_sg: float, millilitres: float) -> float:
    """The energy in so much finished beer, in kcal (4.184 kJ). Source: Hall 1995.

    Raises:
        GravityError: a gravity is outside its range.
    """
    check_original(original_sg)
    plato_from_sg(final_sg)
    alcohol = ENERGY_ALCOHOL * final_sg * (original_sg - final_sg) / (1.775 - original_sg)
    extract = FIXED_ORIGINAL_SHARE * original_sg + (1.0 - FIXED_ORIGINAL_SHARE) * final_sg - 1.0004
    return max(0.0, alcohol + ENERGY_EXTRACT * final_sg * extract) * millilitres / ENERGY_ML


def sample_hint(original_sg: float, last_sg: float | None) -> str | None:
    """What to do with the sample before reading it; None: nothing special.

    Args:
        original_sg: corrected.
        last_sg: the newest reading before this one, if any.
    """
    if last_sg is None or original_sg - last_sg < GASSY_SHARE * (original_sg - 1.0):
        return None
    return (
        "Shake the gas out first: pour the sample between two glasses until it no longer foams."
        " Bubbles lift the float, and the reading is too high."
    )


def share_of_drop(original_sg: float, current_sg: float, expected_final_sg: float) -> float:
    """How much of the expected drop in SG is done: 0 at the original, 1 at the expected final; it
    may go past both.

    Raises:
        GravityError: the expected final is not at least 0.005 below the original.
    """
    check_expected(original_sg, expected_final_sg)
    return (original_sg - current_sg) / (original_sg - expected_final_sg)


def dry_hop_sg(original_sg: float, expected_final_sg: float, share: float = DRY_HOP_SHARE) -> float:
    """The SG at which this share (0 to 1) of the expected drop is done.

    Raises:
        GravityError: the expected final is not at least 0.005 below the original.
    """
    check_expected(original_sg, expected_final_sg)
    assert 0.0 <= share <= 1.0, share
    return original_sg - share * (original_sg - expected_final_sg)


def expected_final_sg(original_sg: float, apparent: float) -> float:
    """The SG at which a wort has this apparent attenuation (0 to 1, on °P).

    Raises:
        GravityError: the original is outside 1.010 to 1.170.
    """
    check_original(original_sg)
    assert 0.0 <= apparent <= 1.0, apparent
    return sg_from_plato(plato_from_sg(original_sg) * (1.0 - apparent))


def lowest_sg(original_sg: float) -> float:
    """The SG at which no extract is left at all, only alcohol; nothing can read lower."""
    original = plato_from_sg(original_sg)
    quotient = QUOTIENT_START + QUOTIENT_PER_PLATO * original
    return sg_from_plato(max(-quotient * original, plato_from_sg(0.98)))


def check_original(original_sg: float) -> None:
    """Refuse an original gravity that is no wort.

    Raises:
        GravityError: it is outside 1.010 to 1.170.
    """
    plato_from_sg(original_sg)
    if original_sg < ORIGINAL_SG_MIN:
        raise GravityError(
            f"An original gravity of {original_sg:.3f} is below {ORIGINAL_SG_MIN:.3f}.",
            "Type the gravity of the wort before pitching; the final gravity has its own place.",
        )


def check_expected(original_sg: float, expected_final: float) -> None:
    """Refuse an expected final gravity that is not below the original.

    Raises:
        GravityError: either is out of range, or the drop is below 0.005.
    """
    check_original(original_sg)
    plato_from_sg(expected_final)
    if original_sg - expected_final >= DROP_SG_MIN:
        return
    remedy = "Type a final gravity that is lower, like 1.010."
    if expected_final - original_sg >= DROP_SG_MIN:
        remedy = "Probably the two were typed in each other's place; change them over."
    raise GravityError(
        f"An expected final gravity of {expected_final:.3f} is not below the original of"
        f" {original_sg:.3f} by {DROP_SG_MIN:.3f} or more.",
        remedy,
    )


def doubts(
    sg: float,
    original_sg: float,
    previous_sg: float | None = None,
) -> tuple[str, ...]:
    """Questions to ask before a possible but unlikely reading is kept. Empty: nothing is odd.

    Args:
        sg: the reading, corrected.
        original_sg: before fermentation, corrected.
        previous_sg: the reading before this one, corrected; None: there is none.
    """
    found = []
    if sg > original_sg + RISE_SG_MAX:
        found.append(
            f"{sg:.3f} is above the original gravity, {original_sg:.3f}. Is one of the two"
            " mistyped, or was sugar added?"
        )
    elif previous_sg is not None and sg > previous_sg + RISE_SG_MAX:
        found.append(
            f"{sg:.3f} is above the last reading, {previous_sg:.3f}. Was the gas shaken out, and is"
            " the sample's temperature right?"
        )
    if sg < lowest_sg(original_sg):
        found.append(
            f"{sg:.3f} is lower than {original_sg:.3f} can fall with all of its extract fermented"
            f" ({lowest_sg(original_sg):.3f}). Is one of the two mistyped?"
        )
    return tuple(found)


def _other_models(original_plato: float, apparent_plato: float) -> tuple[float, float]:
    """Alcohol by weight as a share, by the fixed coefficient and by Cutaia's regression."""
    fixed = FIXED_ORIGINAL_SHARE * original_plato + (1.0 - FIXED_ORIGINAL_SHARE) * apparent_plato
    start, per_plato = CUTAIA
    regression = (start + per_plato * original_plato) * (original_plato - apparent_plato) / 100.0
    return alcohol_by_weight(original_plato, fixed), regression
