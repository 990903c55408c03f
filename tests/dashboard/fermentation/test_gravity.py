"""The scales, the correction and the slips of typing."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import BarmkeepError
from dashboard.facts import GravityUnit
from dashboard.fermentation.gravity import (
    SG_MAX,
    SG_MIN,
    GravityError,
    Meaning,
    check_entry,
    check_temperatures,
    corrected_sg,
    entry_doubts,
    likely_meaning,
    plato_from_sg,
    sg_from_plato,
    sg_of_reading,
    water_kg_per_m3,
)

SG, PLATO = GravityUnit.SG, GravityUnit.PLATO

sg_values = st.floats(SG_MIN, SG_MAX)
beer_sg = st.floats(0.995, 1.120)
sample_temperatures = st.floats(0.0, 50.0)
made_for = st.floats(15.0, 25.0)


@given(sg_values)
def test_plato_and_back_is_the_same_gravity(sg):
    assert sg_from_plato(plato_from_sg(sg)) == pytest.approx(sg, abs=1e-12)


@given(sg_values, sg_values)
def test_a_heavier_wort_has_more_plato(one, other):
    if one + 1e-9 < other:
        assert plato_from_sg(one) < plato_from_sg(other)


@given(beer_sg, sample_temperatures, made_for, st.none() | beer_sg)
def test_a_correction_is_always_a_number_near_the_reading(sg, sample_c, calibrated_c, original_sg):
    found = corrected_sg(sg, sample_c, calibrated_c, original_sg)
    assert math.isfinite(found)
    assert abs(found - sg) < 0.016


@given(beer_sg, st.floats(10.0, 44.0), st.floats(0.5, 5.0))
def test_the_hotter_the_sample_the_more_is_added(sg, sample_c, hotter_k):
    assert corrected_sg(sg, sample_c + hotter_k) > corrected_sg(sg, sample_c)


@given(beer_sg, st.floats(0.0005, 0.02), sample_temperatures)
def test_a_correction_never_changes_the_order_of_two_readings(sg, apart, sample_c):
    assert corrected_sg(sg + apart, sample_c) > corrected_sg(sg, sample_c)


@given(beer_sg, made_for)
def test_at_the_hydrometers_own_temperature_nothing_is_added(sg, calibrated_c):
    assert corrected_sg(sg, calibrated_c, calibrated_c) == pytest.approx(sg, abs=1e-12)


def test_a_finished_kveik_beer_read_at_35_c_shows_five_points_too_low():
    assert corrected_sg(1.007, 35.0, 15.56, 1.048) == pytest.approx(1.012, abs=1e-4)


def test_without_an_original_a_usual_one_is_assumed_and_costs_little():
    for original_sg in (1.036, 1.048, 1.065):
        known = corrected_sg(1.008, 35.0, 20.0, original_sg)
        assert corrected_sg(1.008, 35.0) == pytest.approx(known, abs=3e-4)


def test_a_strong_wort_is_taken_for_what_it_is_without_an_original():
    found = corrected_sg(1.085, 35.0)
    assert found == pytest.approx(corrected_sg(1.085, 35.0, 20.0, found), abs=1e-6)


def test_a_reading_in_plato_is_corrected_too():
    found = sg_of_reading(2.0, PLATO, 35.0, 20.0, 1.048)
    assert found == pytest.approx(corrected_sg(sg_from_plato(2.0), 35.0, 20.0, 1.048))
    assert 2.9 < plato_from_sg(found) < 3.2


def test_water_is_densest_near_four_degrees():
    assert water_kg_per_m3(4.0) > max(water_kg_per_m3(2.0), water_kg_per_m3(6.0))


@pytest.mark.parametrize(
    ("typed", "unit", "meanings"),
    [
        (1048.0, SG, [(1.048, SG)]),
        (10.48, SG, [(1.048, SG)]),
        (104.8, SG, [(1.048, SG)]),
        (48.0, SG, [(1.048, SG)]),
        (0.048, SG, [(1.048, SG)]),
        (12.0, SG, [(12.0, PLATO), (1.012, SG)]),
        (10.5, SG, [(10.5, PLATO), (1.05, SG)]),
        (2.4, SG, [(2.4, PLATO)]),
        (1.048, PLATO, [(1.048, SG)]),
        (1.012, PLATO, [(1.012, SG)]),
        (1048.0, PLATO, [(1.048, SG)]),
        (120.0, PLATO, [(12.0, PLATO)]),
        (5000.0, SG, []),
        (-40.0, PLATO, []),
        (math.nan, SG, []),
        (math.inf, PLATO, []),
    ],
)
def test_a_slip_is_refused_and_the_meaning_is_offered(typed, unit, meanings):
    assert likely_meaning(typed, unit) == tuple(Meaning(*one) for one in meanings)
    with pytest.raises(GravityError) as refusal:
        check_entry(typed, unit)
    assert f"{typed:g}" in refusal.value.what
    for value, scale in meanings:
        assert str(Meaning(value, scale)) in refusal.value.remedy
    assert isinstance(refusal.value, BarmkeepError)
    with pytest.raises(GravityError):
        sg_of_reading(typed, unit, 20.0)


@pytest.mark.parametrize(
    ("typed", "unit"),
    [(1.048, SG), (0.998, SG), (1.0, SG), (1.1, SG), (12.0, PLATO), (2.45, PLATO), (-0.5, PLATO)],
)
def test_a_sound_entry_passes_without_a_question(typed, unit):
    check_entry(typed, unit)
    assert likely_meaning(typed, unit) == ()
    assert entry_doubts(typed, unit, 34.0) == ()


def test_one_and_a_bit_plato_is_possible_but_asked_about():
    check_entry(1.05, PLATO)
    (question,) = entry_doubts(1.05, PLATO, 20.0)
    assert "SG 1.004" in question and "SG 1.050" in question


@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([SG, PLATO]))
def test_whatever_is_typed_is_a_gravity_or_a_clear_refusal(typed, unit):
    try:
        found = sg_of_reading(typed, unit, 20.0)
    except GravityError as refusal:
        assert refusal.remedy
    else:
        assert SG_MIN - 1e-9 <= found <= SG_MAX + 1e-9


@given(st.floats(-1e4, 1e4), st.sampled_from([SG, PLATO]))
def test_what_is_offered_could_itself_be_typed(typed, unit):
    for meaning in likely_meaning(typed, unit):
        if meaning.unit is SG:
            check_entry(meaning.value, SG)


@pytest.mark.parametrize(
    ("sample_c", "calibrated_c", "hint"),
    [
        (95.0, 20.0, "type 35.0 (°C)"),
        (68.0, 20.0, "type 20.0 (°C)"),
        (20.0, 60.0, "type 15.6 (°C)"),
        (20.0, 68.0, "type 20.0 (°C)"),
        (-3.0, 20.0, "between 10 and 40"),
        (250.0, 20.0, "between 10 and 40"),
        (math.nan, 20.0, "between 10 and 40"),
        (20.0, 0.0, "printed on the hydrometer"),
    ],
)
def test_a_temperature_that_cannot_be_celsius_is_refused(sample_c, calibrated_c, hint):
    with pytest.raises(GravityError) as refusal:
        check_temperatures(sample_c, calibrated_c)
    assert hint in refusal.value.remedy
    with pytest.raises(GravityError):
        corrected_sg(1.010, sample_c, calibrated_c)


def test_a_very_hot_sample_is_asked_about():
    (question,) = entry_doubts(1.010, SG, 48.0)
    assert "8.9 (°C)" in question


@pytest.mark.parametrize("sg", [0.97, 1.18, math.nan, math.inf, 12.0])
def test_outside_the_scale_there_is_no_plato(sg):
    with pytest.raises(GravityError):
        plato_from_sg(sg)
    with pytest.raises(GravityError):
        sg_from_plato(1000.0 * (sg - 0.5))


@pytest.mark.parametrize(("meaning", "text"), [(1.048, "SG 1.048"), (1.0105, "SG 1.0105")])
def test_a_meaning_reads_as_a_brewer_writes_it(meaning, text):
    assert str(Meaning(meaning, SG)) == text
    assert str(Meaning(12.0, PLATO)) == "12 °P"
