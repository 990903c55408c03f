"""Attenuation and alcohol against what others have printed. A computed row says so."""

from __future__ import annotations

import pytest

from dashboard.fermentation.attenuation import (
    alcohol_by_weight,
    attenuation,
    dry_hop_sg,
    real_plato,
)
from dashboard.fermentation.gravity import sg_from_plato

BALLING = "Balling alcohol factors, compiled by F. Eckhardt 1995"
CUTAIA_2009 = "Cutaia, Reid & Speers 2009, J. Inst. Brew. 115:318-327, Table III"

# (original °P, g alcohol in 100 g per °P of apparent drop, source)
BALLING_ROWS = [
    (6.0, 0.4073, BALLING),
    (10.0, 0.4148, BALLING),
    (10.5, 0.4158, BALLING),
    (11.0, 0.4168, BALLING),
    (11.5, 0.4177, BALLING),
    (12.0, 0.4187, BALLING),
    (12.5, 0.4197, BALLING),
    (13.5, 0.4216, BALLING),
    (14.0, 0.4226, BALLING),
    (14.5, 0.4236, BALLING),
    (15.5, 0.4257, BALLING),
    (17.0, 0.4288, BALLING),
    (18.0, 0.4309, BALLING),
    (22.0, 0.4395, BALLING),
    (24.0, 0.4439, BALLING),
    (26.0, 0.4485, BALLING),
    (28.0, 0.4532, BALLING),
    (30.0, 0.4580, BALLING),
]

# Measured means of many beers: (original °P, apparent °P, real °P, alcohol % w/w, source)
CUTAIA_ROWS = [
    (14.08, 3.11, 5.28, 4.72, CUTAIA_2009 + ", set 1, 92 beers"),
    (17.67, 2.45, 5.38, 6.56, CUTAIA_2009 + ", set 3, 71 beers"),
    (11.34, 2.01, 3.80, 3.82, CUTAIA_2009 + ", set 4, 221 beers"),
]

# Computed, not published, by an independent script from the printed formulas:
# (original SG, final SG, ADF %, real °P by q, ABV % fixed, ABV % by q, ABV % Cutaia)
COMPUTED_ROWS = [
    (1.040, 1.008, 79.47, 3.537, 4.232, 4.200, 4.128),
    (1.050, 1.0125, 74.21, 4.928, 4.985, 4.938, 4.900),
    (1.060, 1.009, 84.35, 4.670, 6.808, 6.731, 6.738),
    (1.080, 1.016, 78.90, 7.024, 8.630, 8.501, 8.643),
    (1.100, 1.020, 78.62, 8.744, 10.893, 10.691, 11.014),
]


@pytest.mark.parametrize(("original", "factor", "source"), BALLING_ROWS)
def test_alcohol_for_each_degree_of_drop_is_ballings_printed_factor(original, factor, source):
    apparent = original * 0.25
    alcohol = 100.0 * alcohol_by_weight(original, real_plato(original, apparent))
    assert alcohol / (original - apparent) == pytest.approx(factor, abs=2e-4), source


@pytest.mark.parametrize(("original", "apparent", "real", "alcohol", "source"), CUTAIA_ROWS)
def test_measured_beers_have_the_alcohol_and_real_extract_we_say(
    original, apparent, real, alcohol, source
):
    """Means of products are not products of means: within 0.15 % w/w and 0.25 °P."""
    found = attenuation(sg_from_plato(original), sg_from_plato(apparent))
    assert 100.0 * found.alcohol_by_weight == pytest.approx(alcohol, abs=0.15), source
    assert found.real_plato == pytest.approx(real, abs=0.25), source


@pytest.mark.parametrize(("original", "apparent", "real", "alcohol", "source"), CUTAIA_ROWS)
def test_ballings_equation_gives_back_the_original_extract_of_measured_beers(
    original, apparent, real, alcohol, source
):
    """Balling solved for OE: 100 (2.0665 A + RE) / (100 + 1.0665 A), the printed form."""
    share = alcohol_by_weight(original, real)
    again = 100.0 * (206.65 * share + real) / (100.0 + 106.65 * share)
    assert again == pytest.approx(original, abs=0.01), source


def test_the_printed_rule_of_thumb_lies_at_or_below_balling():
    """131.25 (1.055 - 1.015) = 5.25 % is the worked example of a public page on attenuation."""
    found = attenuation(1.055, 1.015)
    rule = 131.25 * (1.055 - 1.015)
    assert rule == pytest.approx(5.25, abs=0.005)
    assert rule - 0.05 <= 100.0 * found.alcohol_by_volume <= rule + 0.4


@pytest.mark.parametrize(
    ("original_sg", "final_sg", "adf", "real", "fixed", "by_q", "cutaia"), COMPUTED_ROWS
)
def test_the_grid_computed_elsewhere(original_sg, final_sg, adf, real, fixed, by_q, cutaia):
    found = attenuation(original_sg, final_sg)
    assert 100.0 * found.apparent == pytest.approx(adf, abs=0.02)
    assert found.real_plato == pytest.approx(real, abs=0.002)
    assert 100.0 * found.alcohol_by_volume == pytest.approx(by_q, abs=0.005)
    assert 100.0 * found.abv_low == pytest.approx(min(fixed, by_q, cutaia), abs=0.005)
    assert 100.0 * found.abv_high == pytest.approx(max(fixed, by_q, cutaia), abs=0.005)


@pytest.mark.parametrize(
    ("original_sg", "final_sg", "point"),
    [(1.05, 1.01, 1.0233), (1.0605, 1.012, 1.0282), (1.072, 1.016, 1.0347)],
)
def test_two_thirds_of_the_drop(original_sg, final_sg, point):
    """Computed by hand; dry hopping at this point is common practice, no source."""
    assert dry_hop_sg(original_sg, final_sg) == pytest.approx(point, abs=1e-4)
