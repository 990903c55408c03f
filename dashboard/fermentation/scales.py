"""Scales: the other marks a gravity may be printed on, and SG 20/20.

SG over water at 60 °F (15.56 °C), or at any temperature hydrometers are made for, differs from SG
20/20 by up to two in the fourth decimal; Brix is Plato within 0.002. It changes scales only: what a
warm sample does to a reading is `gravity.corrected_sg`'s.
"""

from __future__ import annotations

from dashboard.fermentation.gravity import (
    plato_from_sg,
    sg_from_plato,
    sucrose_kg_per_m3,
    water_kg_per_m3,
)

SIXTY_F_C = 15.5556  # Source: 60 °F.
AIR_KG_PER_M3 = 1.2  # Source: weighing in air, as the tables of SG are defined.


def apparent_sg(plato: float, scale_c: float) -> float:
    """SG in air over water, both at `scale_c` (10 to 30 °C), of a wort of 0 to 38 °P.

    Source: ICUMSA SPS-4 densities.
    """
    water = water_kg_per_m3(scale_c) - AIR_KG_PER_M3
    return (sucrose_kg_per_m3(plato / 100.0, scale_c) - AIR_KG_PER_M3) / water


def sg_2020(sg: float, scale_c: float = SIXTY_F_C) -> float:
    """SG 20/20 of an SG over water at `scale_c`, for wort and, by its apparent extract, for beer.

    Raises:
        GravityError: the SG is outside its range.
    """
    plato = max(plato_from_sg(sg), 0.0)
    return sg + apparent_sg(plato, 20.0) - apparent_sg(plato, scale_c)


def sg_on_scale(sg: float, scale_c: float = SIXTY_F_C) -> float:
    """The inverse: what a hydrometer made for `scale_c` shows there for this SG 20/20."""
    plato = max(plato_from_sg(sg), 0.0)
    return sg - apparent_sg(plato, 20.0) + apparent_sg(plato, scale_c)


def brix_from_sg(sg: float) -> float:
    """Degrees Brix of a wort's SG 20/20: the same percent of sucrose by mass as degrees Plato."""
    return plato_from_sg(sg)


def sg_from_brix(brix: float) -> float:
    """SG 20/20 of a wort by a hydrometer divided in Brix; a refractometer has a module of its own.

    Raises:
        GravityError: it is outside the range of `gravity.sg_from_plato`.
    """
    return sg_from_plato(brix)
