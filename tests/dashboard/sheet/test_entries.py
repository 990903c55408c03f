"""Forms: what is kept, what is refused beside the field, what is asked about."""

from __future__ import annotations

import math
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.facts import Batch, GravityReading, GravityUnit
from dashboard.fermentation.strains import strains
from dashboard.sheet import readings
from dashboard.sheet.entries import batch_entry, gravity_entry

ZONE = ZoneInfo("Europe/Stockholm")
NOW = datetime(2026, 1, 15, 21, 30, tzinfo=ZONE).timestamp()
BATCH = Batch(4, "left", "Pale", NOW - 2 * 86_400, 1.052, 1.012, 23.0, "kveik")
TYPED = {
    "entered": "1.022",
    "unit": "sg",
    "sample_c": "35",
    "calibrated_c": "20",
    "taken": "2026-01-15T21:20",
}
BATCH_TYPED = {
    "name": "Pale",
    "pitched": "2026-01-15T20:00",
    "strain": "kveik",
    "volume_l": "23",
    "unit": "sg",
    "original": "1.052",
    "expected": "1.012",
}


def gravity(earlier=(), **more):
    return gravity_entry(TYPED | more, BATCH, earlier, NOW, ZONE)


def batch(**more):
    return batch_entry(BATCH_TYPED | more, "left", strains(), NOW, ZONE)


def test_a_reading_is_kept_as_typed():
    assert gravity().value == GravityReading(0, 4, NOW - 600, 1.022, GravityUnit.SG, 35.0, 20.0)


def test_a_decimal_comma_and_a_reading_in_plato():
    filled = gravity(entered=" 7,8 ", unit="plato", sample_c="34,5")
    assert (filled.value.entered, filled.value.unit) == (7.8, GravityUnit.PLATO)
    assert filled.value.sample_c == 34.5


@pytest.mark.parametrize(
    ("field", "text", "hint"),
    [
        ("entered", "10.48", "1.048"),
        ("entered", "1048", "1.048"),
        ("entered", "", "1.048"),
        ("entered", "1.0.4", "not a number"),
        ("entered", "nan", "not a number"),
        ("entered", "1_0", "not a number"),
        ("sample_c", "95", "35"),
        ("sample_c", "", "35"),
        ("calibrated_c", "68", "20"),
        ("unit", "brix", "SG"),
        ("taken", "yesterday", "date"),
        ("taken", "2026-01-16T21:20", "future"),
        ("taken", "2026-01-01T21:20", "before this batch"),
    ],
)
def test_what_cannot_be_meant_is_refused_beside_its_field_and_not_lost(field, text, hint):
    filled = gravity(**{field: text})
    assert filled.value is None and set(filled.errors) == {field}
    assert hint in filled.errors[field]
    assert filled.typed[field] == text and filled.typed["entered"] is not None


def test_two_slips_give_two_messages():
    assert set(gravity(entered="10.48", sample_c="95").errors) == {"entered", "sample_c"}


def test_an_odd_reading_is_asked_about_once_and_kept_when_it_is_right():
    asked = gravity(entered="1.060")
    assert asked.value is None and not asked.errors and "above" in asked.doubts[0]
    assert gravity(entered="1.060", sure="yes").value.entered == 1.060


def test_the_same_reading_twice_is_asked_about():
    first = gravity().value
    assert gravity((first,)).doubts == ("This reading is already in the table.",)


def test_a_batch_is_kept_and_a_missing_final_gravity_is_the_strains_usual():
    assert batch().value == Batch(
        0, "left", "Pale", NOW - 5400, 1.052, pytest.approx(1.012), 23.0, "kveik"
    )
    expected = batch(expected="").value.expected_final_sg
    # Source: apparent attenuation by its definition, (OE - AE) / OE in °P; 77.5 % is the middle of
    # 70 to 85 % (common practice, no source); 12.85 °P is SG 1.052 in the ASBC table.
    assert expected == pytest.approx(1 + 12.85 * 0.225 / 258.6, abs=4e-4)


def test_a_batch_in_plato():
    value = batch(unit="plato", original="12.85", expected="3.1").value
    assert value.original_sg == pytest.approx(1.052, abs=2e-4)


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("name", "  "),
        ("name", "x" * 81),
        ("pitched", ""),
        ("pitched", "2026-02-15T20:00"),
        ("volume_l", "0"),
        ("volume_l", "23000"),
        ("strain", "none"),
        ("original", "1.005"),
        ("original", "52"),
        ("expected", "1.060"),
    ],
)
def test_a_batch_that_cannot_be_is_refused(field, text):
    filled = batch(**{field: text})
    assert filled.value is None and set(filled.errors) == {field}


def test_the_row_of_a_hot_sample():
    # Source: ICUMSA water densities: water at 35 °C is 4.2 g/l lighter than at 20 °C, so a reading
    # of 1.022 is about 1.026; apparent attenuation by its definition from 12.85 and 6.6 °P.
    (row,) = readings.rows(BATCH, (gravity().value,))
    assert row.corrected_sg == pytest.approx(1.0265, abs=5e-4)
    assert row.apparent.replace("\u00a0", " ") in {"47 %", "48 %"}
    assert row.share == pytest.approx((1.052 - row.corrected_sg) / 0.040)
    assert row.abv.startswith("3.") and "±" in row.abv


def test_a_reading_that_cannot_be_counted_is_shown_with_its_trouble():
    broken = GravityReading(1, 4, NOW, 1.3, GravityUnit.SG, 20.0)
    (row,) = readings.rows(BATCH, (broken,))
    assert row.corrected_sg is None and "1.3" in row.trouble
    assert "first gravity" in readings.what_next(BATCH, (row,))


@pytest.mark.parametrize(
    ("entered", "said"), [(1.035, "usually go in"), (1.018, "past two thirds")]
)
def test_what_comes_next(entered, said):
    reading = GravityReading(1, 4, NOW, entered, GravityUnit.SG, 20.0)
    text = readings.what_next(BATCH, readings.rows(BATCH, (reading,)))
    assert said in text and "1.025" in text  # 1.052 - 2/3 x 0.040


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from([*TYPED, "sure"]), st.text(max_size=30)))
def test_no_text_breaks_the_form(typed):
    filled = gravity_entry(TYPED | typed, BATCH, (), NOW, ZONE)
    assert (filled.value is None) == bool(filled.errors or filled.doubts)
    if filled.value is not None:
        assert math.isfinite(filled.value.entered + filled.value.taken_utc_s)
