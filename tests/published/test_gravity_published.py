"""Gravity against what others have printed. Each row names where it was printed; a row that was
computed, with a library or by another formula, says so and is no publication.
"""

from __future__ import annotations

import pytest
from iapws import IAPWS95

from dashboard.fermentation.gravity import (
    corrected_sg,
    plato_from_sg,
    sg_from_plato,
    sucrose_kg_per_m3,
    water_kg_per_m3,
)

AIR_KG_PER_M3 = 1.2  # Weighing in air, as the SG tables are defined.

USDA = "USDA AMS sucrose conversion table, file code 135-A-50"
CRC_SUCROSE = "CRC Handbook, aqueous sucrose at 20 °C"
LYONS = "C. Lyons 1992, HBD 963, from CRC water densities"
MANNING = "M. P. Manning 1993, BrewingTechniques 1(3)"

# (°Brix, apparent SG 20/20, source)
SG_ROWS = [
    (0.1, 1.00039, USDA),
    (0.2, 1.00078, USDA),
    (0.3, 1.00117, USDA),
    (3.8, 1.01490, USDA),
    (4.1, 1.01609, USDA),
    (7.7, 1.03058, USDA),
    (7.9, 1.03139, USDA),
]

# (mass %, kg/m3 at 20 °C, source)
DENSITY_ROWS = [
    (0.0, 998.2, CRC_SUCROSE),
    (1.0, 1002.1, CRC_SUCROSE),
    (2.5, 1007.9, CRC_SUCROSE),
    (3.5, 1011.9, CRC_SUCROSE),
    (4.5, 1015.8, CRC_SUCROSE),
    (6.0, 1021.8, CRC_SUCROSE),
    (7.5, 1027.9, CRC_SUCROSE),
    (10.0, 1038.1, CRC_SUCROSE),
    (12.0, 1046.5, CRC_SUCROSE),
    (15.0, 1059.2, CRC_SUCROSE),
    (16.0, 1063.5, CRC_SUCROSE),
    (20.0, 1081.0, CRC_SUCROSE),
    (26.0, 1108.2, CRC_SUCROSE),
    (30.0, 1127.0, CRC_SUCROSE),
]

# (sample °C, points to add with a hydrometer for 15 °C in water, source)
LYONS_ROWS = [
    (0.0, -0.74, LYONS),
    (3.98, -0.87, LYONS),
    (10.0, -0.60, LYONS),
    (15.0, 0.0, LYONS),
    (18.0, 0.51, LYONS),
    (25.0, 2.06, LYONS),
    (40.0, 6.89, LYONS),
    (45.0, 8.88, LYONS),
    (50.0, 11.06, LYONS),
    (60.0, 15.89, LYONS),
]

# (°C, relative density of water, source)
WATER_ROWS = [
    (0.0, 0.99987, LYONS),
    (3.98, 1.00000, LYONS),
    (5.0, 0.99999, LYONS),
    (10.0, 0.99973, LYONS),
    (15.0, 0.99913, LYONS),
    (18.0, 0.99862, LYONS),
    (20.0, 0.99823, LYONS),
    (25.0, 0.99707, LYONS),
    (40.0, 0.99224, LYONS),
    (45.0, 0.99025, LYONS),
]

# Computed, not published: ICUMSA wort and ICUMSA with OIML R 22 ethanol, soda-lime glass.
# (made for °C, sample °C, original °P, present °P, points to add)
COMPUTED_ROWS = [
    (20.0, 26.0, 12.0, 12.0, 1.58),
    (20.0, 31.0, 12.0, 12.0, 3.12),
    (20.0, 34.0, 12.0, 12.0, 4.14),
    (15.56, 24.0, 12.0, 12.0, 1.98),
    (15.56, 35.0, 12.0, 12.0, 5.45),
    (15.56, 36.0, 12.0, 12.0, 5.81),
    (20.0, 34.0, 13.0, 2.8, 3.91),
    (20.0, 37.0, 11.0, 2.0, 4.88),
    (15.56, 35.0, 12.0, 2.5, 5.03),
    (20.0, 40.0, 12.0, 2.5, 6.06),
]


@pytest.mark.parametrize(("brix", "sg", "source"), SG_ROWS)
def test_sucrose_density_gives_the_published_sg_to_its_last_digit_but_two(brix, sg, source):
    density, water = sucrose_kg_per_m3(brix / 100.0, 20.0), water_kg_per_m3(20.0)
    apparent = (density - AIR_KG_PER_M3) / (water - AIR_KG_PER_M3)
    assert apparent == pytest.approx(sg, abs=2.5e-5), source


@pytest.mark.parametrize(("brix", "sg", "source"), SG_ROWS)
def test_plato_of_a_published_sg_is_the_published_brix(brix, sg, source):
    assert plato_from_sg(sg) == pytest.approx(brix, abs=0.015), source
    assert sg_from_plato(brix) == pytest.approx(sg, abs=6e-5), source


@pytest.mark.parametrize(("percent", "density", "source"), DENSITY_ROWS)
def test_sucrose_density_is_the_handbooks(percent, density, source):
    assert sucrose_kg_per_m3(percent / 100.0, 20.0) == pytest.approx(density, abs=0.15), source


@pytest.mark.parametrize(
    ("sg", "plato", "within", "source"),
    [
        (1.050, 12.388, 0.001, "ASBC cubic at 1.050, in a brewing note that quotes Manning 1993"),
        (1.040, 9.99249, 0.005, "ICUMSA percent at 1.040, encyclopaedia text on the Brix scale"),
        (1.000, 0.0, 0.005, "definition of the scale"),
    ],
)
def test_single_published_values_of_plato(sg, plato, within, source):
    assert plato_from_sg(sg) == pytest.approx(plato, abs=within), source


def test_mannings_259_rule_holds_within_his_own_error_and_the_other_base():
    """Manning: 259 (1 - 1/SG), error below 0.09 °P to 20 °P, for SG 60/60 °F; an SG 20/20 means
    0.4 % more °P (computed).
    """
    for points in range(84):
        sg = 1.0 + points / 1000.0
        rule = 259.0 * (1.0 - 1.0 / sg)
        assert abs(plato_from_sg(sg) - rule) < 0.09 + 0.004 * rule, (sg, MANNING)


def test_the_cubic_agrees_with_icumsa_over_the_whole_of_wort():
    """Computed: two independent fits of the same table."""
    for tenths in range(300):
        density = sucrose_kg_per_m3(tenths / 1000.0, 20.0)
        sg = (density - AIR_KG_PER_M3) / (water_kg_per_m3(20.0) - AIR_KG_PER_M3)
        assert plato_from_sg(sg) == pytest.approx(tenths / 10.0, abs=0.0125)


@pytest.mark.parametrize(("water_c", "relative", "source"), WATER_ROWS)
def test_water_is_the_handbooks(water_c, relative, source):
    densest = water_kg_per_m3(3.98)
    assert water_kg_per_m3(water_c) / densest == pytest.approx(relative, abs=1.6e-5), source


@pytest.mark.parametrize("water_c", [0.01, 4.0, 15.56, 20.0, 25.0, 33.0, 37.0, 45.0, 60.0])
def test_water_is_iapws_95(water_c):
    """Computed here with the iapws library: the international formulation for water."""
    reference = IAPWS95(T=273.15 + water_c, P=0.101325).rho
    assert water_kg_per_m3(water_c) == pytest.approx(reference, abs=0.006)


@pytest.mark.parametrize(("sample_c", "points", "source"), LYONS_ROWS)
def test_water_thins_as_the_published_hydrometer_table_says(sample_c, points, source):
    """The printed table is water without glass, as a difference of relative densities."""
    difference = water_kg_per_m3(15.0) - water_kg_per_m3(sample_c)
    assert 1000.0 * difference / water_kg_per_m3(3.98) == pytest.approx(points, abs=0.05), source


@pytest.mark.parametrize(("sample_c", "points", "source"), LYONS_ROWS[:8])
def test_our_correction_of_a_beer_stays_near_the_published_table(sample_c, points, source):
    """Beer's own expansion and the glass nearly cancel, so the water table is within half a
    point.
    """
    shown_sg = 1.012 - points / 1000.0
    added = 1000.0 * (corrected_sg(shown_sg, sample_c, 15.0, 1.048) - shown_sg)
    assert added == pytest.approx(points, abs=0.5), source


def test_the_correction_hardly_depends_on_extract_near_the_reference():
    """Manning 1993: taking it as independent of extract costs at most 0.0002 within 5.5 K; here for
    worts of 5 to 17 °P against one of 11 °P.
    """
    for shift_k in (-5.5, 5.5):
        added = {
            sg: corrected_sg(sg, 15.56 + shift_k, 15.56, sg) - sg for sg in (1.020, 1.045, 1.070)
        }
        for sg in (1.020, 1.070):
            assert abs(added[sg] - added[1.045]) <= 0.0002, MANNING


@pytest.mark.parametrize(("made_c", "sample_c", "original", "present", "points"), COMPUTED_ROWS)
def test_hot_and_cold_samples_as_computed_from_real_densities(
    made_c, sample_c, original, present, points
):
    true_sg = sg_from_plato(present)
    shown_sg = true_sg - points / 1000.0
    corrected = corrected_sg(shown_sg, sample_c, made_c, sg_from_plato(original))
    assert 1000.0 * (corrected - true_sg) == pytest.approx(0.0, abs=0.12)
