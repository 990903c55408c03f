"""The refractometer from pitching to the end: right at both, and never going up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.fermentation.gravity import GravityError, sg_from_plato
from dashboard.fermentation.refractometer import beer_sg, cubic_sg, wort_sg


@given(st.floats(7.0, 22.0), st.floats(0.42, 1.0), st.floats(0.0, 0.2))
def test_a_falling_reading_is_a_falling_gravity(first, ratio, more):
    lower, higher = first * ratio, first * min(1.0, ratio + more)
    assert beer_sg(first, lower) <= beer_sg(first, higher) + 1e-9


@given(st.floats(7.0, 25.0))
def test_at_pitching_it_is_the_wort_and_near_the_end_the_cubic(first):
    assert beer_sg(1.04 * first, 1.04 * first) == pytest.approx(sg_from_plato(first), abs=1e-9)
    assert beer_sg(1.04 * first, 1.04 * 0.5 * first) == pytest.approx(cubic_sg(first, 0.5 * first))


def test_half_way_it_agrees_with_balling():
    """A 12 °P wort that has lost half of its apparent extract (AE 6, RE 7.1, A 2.5 % w/w) refracts
    as its real extract and 0.45 °Bx for each per cent of alcohol (CRC handbook refractive index of
    5 % w/w ethanol, 1.3364, over water's 1.3330).
    """
    shown = 1.04 * (7.13 + 0.45 * 2.51)
    assert beer_sg(1.04 * 12.0, shown) == pytest.approx(sg_from_plato(6.0), abs=0.0035)


def test_a_small_rise_is_two_samples_of_one_wort():
    assert beer_sg(12.48, 12.6) == pytest.approx(wort_sg(12.48))


@pytest.mark.parametrize(
    ("first", "now", "factor", "words"),
    [
        (6.0, 12.0, 1.04, "each other's place"),
        (12.0, 1.048, 1.04, "looks like an SG"),
        (90.0, 6.0, 1.04, "like 12.4"),
        (12.0, 6.0, 1.6, "Use 1.04"),
        (float("nan"), 6.0, 1.04, "like 12.4"),
    ],
)
def test_what_cannot_be_is_refused_with_a_remedy(first, now, factor, words):
    with pytest.raises(GravityError) as refusal:
        beer_sg(first, now, factor)
    assert words in refusal.value.remedy
