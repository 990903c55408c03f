"""Heat, energy and the other scales against printed and computed figures."""

from __future__ import annotations

import pytest

from dashboard.fermentation.attenuation import attenuation, energy_kcal
from dashboard.fermentation.course.heat_balance import HEAT_J_PER_KG, heat_per_plato
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from dashboard.fermentation.scales import apparent_sg, brix_from_sg, sg_2020, sg_on_scale


def test_heat_of_fermentation_is_the_handbooks():
    """252 BTU per lb of extract, as professional brewers print it: 1055.06 J over 0.453592 kg."""
    assert pytest.approx(252.0 * 1055.06 / 0.453592, rel=1e-3) == HEAT_J_PER_KG


def test_the_heat_of_a_falling_gravity():
    """Computed: 0.2 °P/h in 20 L at 1.030 is 5.48 W with the fixed real share of 0.8192; Balling's
    at 12 °P is 0.812.
    """
    watts = 0.2 * heat_per_plato(1.030, 20.0) / 3600.0
    assert watts == pytest.approx(5.48, rel=0.02)


@pytest.mark.parametrize(
    ("litres", "original_sg", "attenuated", "kilojoules"),
    [
        (20, 1.040, 0.75, 740.8),
        (23, 1.060, 0.80, 1363.7),
        (10, 1.055, 0.85, 579.1),
        (23, 1.0565, 0.82, 1317.9),
    ],
)
def test_the_heat_of_whole_batches(litres, original_sg, attenuated, kilojoules):
    """Computed elsewhere with 586 kJ/kg and the fixed real share."""
    fall = plato_from_sg(original_sg) * attenuated
    found = heat_per_plato(original_sg, litres) * fall / 1000.0
    assert found == pytest.approx(kilojoules, rel=0.02)


@pytest.mark.parametrize(
    ("original_sg", "final_sg"), [(1.040, 1.008), (1.050, 1.010), (1.065, 1.014)]
)
def test_energy_is_alcohol_and_extract(original_sg, final_sg):
    """Hall 1995 against food tables: 7 kcal per g of ethanol and 4 kcal per g of carbohydrate
    (Atwater); his 3.55 counts extract at 3.8.
    """
    found = attenuation(original_sg, final_sg)
    grams = 355.0 * final_sg
    tables = grams * (7.0 * found.alcohol_by_weight + 4.0 * found.real_plato / 100.0)
    assert energy_kcal(original_sg, final_sg, 355.0) == pytest.approx(tables, rel=0.05)


@pytest.mark.parametrize(
    ("plato", "at_20", "at_60f"), [(10.0, 1.04003, 1.04017), (12.0, 1.04839, 1.04855)]
)
def test_the_two_bases_of_sg(plato, at_20, at_60f):
    """Computed from ICUMSA by another script; its 60 °F column is weighed in vacuum, which is
    5e-5 lower at 10 °P.
    """
    assert apparent_sg(plato, 20.0) == pytest.approx(at_20, abs=1.5e-5)
    assert apparent_sg(plato, 15.5556) == pytest.approx(at_60f + 5.5e-5, abs=1.5e-5)


@pytest.mark.parametrize("plato", [2.0, 6.0, 10.0, 14.0, 18.0])
def test_mannings_cubic_reads_a_60_f_hydrometer(plato):
    """Manning 1993, BrewingTechniques 1(3), for SG 60/60 °F; error 0.005 °P, 0.05 on SG 20/20."""
    sg = sg_on_scale(sg_from_plato(plato))
    printed = -676.67 + 1286.4 * sg - 800.47 * sg**2 + 190.74 * sg**3
    assert printed == pytest.approx(plato, abs=0.025)
    assert sg_2020(sg) == pytest.approx(sg_from_plato(plato), abs=5e-6)


def test_brix_is_plato():
    """The ICUMSA, Brix and Plato scales are all per cent of sucrose by mass (0.002 at 1.040)."""
    assert brix_from_sg(1.040) == pytest.approx(9.992, abs=0.005)
