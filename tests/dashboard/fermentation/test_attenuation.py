"""Attenuation, alcohol, the dry-hop point and the odd readings."""

from __future__ import annotations

import math
from dataclasses import astuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.fermentation.attenuation import (
    attenuation,
    check_expected,
    doubts,
    dry_hop_sg,
    energy_kcal,
    expected_final_sg,
    lowest_sg,
    sample_hint,
    share_of_drop,
)
from dashboard.fermentation.gravity import GravityError, plato_from_sg

originals = st.floats(1.010, 1.120)
shares = st.floats(0.0, 1.0)


@given(originals, shares)
def test_no_figure_is_ever_not_a_number(original_sg, done):
    current_sg = original_sg - done * (original_sg - 0.990)
    found = attenuation(original_sg, current_sg)
    assert all(math.isfinite(value) for value in astuple(found))
    assert 0.0 <= found.abv_low <= found.alcohol_by_volume <= found.abv_high < 0.25
    assert found.real <= found.apparent + 1e-12
    assert found.real_plato >= found.apparent_plato - 1e-12


@given(originals, shares, shares)
def test_a_lower_reading_is_more_attenuation_and_more_alcohol(original_sg, one, other):
    first, second = (original_sg - x * (original_sg - 0.995) for x in sorted((one, other)))
    if first - second > 1e-6:
        before, after = attenuation(original_sg, first), attenuation(original_sg, second)
        assert after.apparent > before.apparent
        assert after.real > before.real
        assert after.alcohol_by_weight > before.alcohol_by_weight


def test_an_unfermented_wort_has_no_alcohol():
    found = attenuation(1.050, 1.050)
    assert found.apparent == found.real == found.abv_high == 0.0


def test_a_first_reading_above_the_original_has_no_negative_alcohol():
    found = attenuation(1.050, 1.052)
    assert found.apparent < 0.0
    assert found.alcohol_by_weight == found.abv_low == found.abv_high == 0.0


def test_the_models_spread_by_a_tenth_of_a_percent_or_so():
    found = attenuation(1.050, 1.010)
    assert 0.0005 < found.abv_high - found.abv_low < 0.002


def test_the_share_of_the_drop_runs_from_the_original_to_the_expected_final():
    assert share_of_drop(1.060, 1.060, 1.012) == 0.0
    assert share_of_drop(1.060, 1.012, 1.012) == pytest.approx(1.0)
    assert share_of_drop(1.060, 1.008, 1.012) > 1.0
    assert share_of_drop(1.060, dry_hop_sg(1.060, 1.012), 1.012) == pytest.approx(2 / 3)
    assert dry_hop_sg(1.060, 1.012, 0.5) == pytest.approx(1.036)


@given(originals, st.floats(0.3, 0.95))
def test_the_expected_final_has_the_attenuation_asked_for(original_sg, apparent):
    final_sg = expected_final_sg(original_sg, apparent)
    assert attenuation(original_sg, final_sg).apparent == pytest.approx(apparent, abs=1e-9)


@given(originals)
def test_nothing_falls_below_the_lowest_reading(original_sg):
    found = attenuation(original_sg, lowest_sg(original_sg))
    assert found.real <= 1.0 + 1e-9
    if lowest_sg(original_sg) > 0.9801:
        assert found.real == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("original_sg", "final_sg", "hint"),
    [
        (1.010, 1.050, "other's place"),
        (1.050, 1.050, "lower"),
        (1.050, 1.047, "lower"),
        (1.004, 0.998, "before pitching"),
        (10.50, 1.010, "like 1.048"),
        (1.050, 10.10, "like 1.048"),
        (math.nan, 1.010, "like 1.048"),
    ],
)
def test_an_expected_final_that_is_no_drop_is_refused(original_sg, final_sg, hint):
    for asked in (check_expected, dry_hop_sg):
        with pytest.raises(GravityError) as refusal:
            asked(original_sg, final_sg)
        assert hint in refusal.value.remedy
    with pytest.raises(GravityError):
        share_of_drop(original_sg, 1.020, final_sg)


def test_an_original_that_is_no_wort_is_refused():
    for asked in (lambda: attenuation(1.004, 1.0), lambda: expected_final_sg(1.004, 0.8)):
        with pytest.raises(GravityError):
            asked()


@pytest.mark.parametrize(
    ("sg", "previous_sg", "words"),
    [
        (1.060, None, "above the original"),
        (1.020, 1.010, "above the last reading"),
        (0.985, 1.010, "lower than"),
    ],
)
def test_an_odd_reading_is_asked_about(sg, previous_sg, words):
    (question,) = doubts(sg, 1.050, previous_sg)
    assert words in question and f"{sg:.3f}" in question and question.endswith("?")


@pytest.mark.parametrize(("sg", "previous_sg"), [(1.050, None), (1.012, 1.011), (0.998, 1.004)])
def test_an_ordinary_reading_raises_no_question(sg, previous_sg):
    assert doubts(sg, 1.050, previous_sg) == ()


def test_the_lowest_reading_of_a_wort_is_where_the_models_say():
    """By hand: 12 °P, q = 0.232, so 0 = (0.232 * 12 + AE) / 1.232 gives AE = -2.784 °P."""
    assert plato_from_sg(lowest_sg(1.04837)) == pytest.approx(-2.784, abs=0.01)


def test_more_fermented_beer_has_its_energy_in_alcohol():
    """Two litres have twice the energy of one, and a wort's energy hardly changes in fermenting."""
    one, two = (energy_kcal(1.050, 1.010, litres * 1000.0) for litres in (1, 2))
    assert two == pytest.approx(2.0 * one)
    assert energy_kcal(1.050, 1.010, 1000.0) == pytest.approx(
        energy_kcal(1.050, 1.020, 1000.0), rel=0.1
    )
    with pytest.raises(GravityError):
        energy_kcal(1.050, 10.10, 1000.0)


def test_gas_is_warned_of_once_there_is_some():
    assert sample_hint(1.050, None) is None
    assert sample_hint(1.050, 1.049) is None
    assert "foams" in sample_hint(1.050, 1.040)
