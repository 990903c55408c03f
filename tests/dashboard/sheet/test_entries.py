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
from dashboard.sheet.forms import Reader
from dashboard.sheet.units import TemperatureUnit, Units, VolumeUnit

ZONE = ZoneInfo("Europe/Stockholm")
UNITS = Units(zone=ZONE)
NOW = datetime(2026, 1, 15, 21, 30, tzinfo=ZONE).timestamp()
BATCH = Batch(4, "left", "Pale", NOW - 2 * 86_400, 1.052, 1.012, 23.0, "kveik")
TYPED = {
    "entered": "1.022",
    "unit": "sg",
    "sample": "35",
    "calibrated": "20",
    "taken": "2026-01-15T21:20",
}
BATCH_TYPED = {
    "name": "Pale",
    "pitched": "2026-01-15T20:00",
    "strain": "kveik",
    "volume": "23",
    "unit": "sg",
    "original": "1.052",
    "expected": "1.012",
}


def gravity(earlier=(), **more):
    return gravity_entry(TYPED | more, BATCH, earlier, NOW, UNITS)


def batch(**more):
    return batch_entry(BATCH_TYPED | more, "left", strains(), NOW, UNITS)


def test_a_reading_is_kept_as_typed():
    assert gravity().value == GravityReading(0, 4, NOW - 600, 1.022, GravityUnit.SG, 35.0, 20.0)


def test_a_decimal_comma_and_a_reading_in_plato():
    filled = gravity(entered=" 7,8 ", unit="plato", sample="34,5")
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
        ("sample", "95", "35"),
        ("sample", "", "35"),
        ("calibrated", "68", "20"),
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
    assert set(gravity(entered="10.48", sample="95").errors) == {"entered", "sample"}


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
        ("volume", "0"),
        ("volume", "23000"),
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
    (row,) = readings.rows(BATCH, (gravity().value,), UNITS)
    assert row.corrected_sg == pytest.approx(1.0265, abs=5e-4)
    assert row.apparent.replace("\u00a0", " ") in {"47 %", "48 %"}
    assert row.share == pytest.approx((1.052 - row.corrected_sg) / 0.040)
    assert row.abv.startswith("3.") and "±" in row.abv


def test_a_reading_that_cannot_be_counted_is_shown_with_its_trouble():
    broken = GravityReading(1, 4, NOW, 1.3, GravityUnit.SG, 20.0)
    (row,) = readings.rows(BATCH, (broken,), UNITS)
    assert row.corrected_sg is None and "1.3" in row.trouble
    assert "first gravity" in readings.what_next(BATCH, (row,), UNITS)


@pytest.mark.parametrize(
    ("entered", "said"), [(1.035, "usually go in"), (1.018, "past two thirds")]
)
def test_what_comes_next(entered, said):
    reading = GravityReading(1, 4, NOW, entered, GravityUnit.SG, 20.0)
    text = readings.what_next(BATCH, readings.rows(BATCH, (reading,), UNITS), UNITS)
    assert said in text and "1.025" in text  # 1.052 - 2/3 x 0.040


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from([*TYPED, "sure"]), st.text(max_size=30)))
def test_no_text_breaks_the_form(typed):
    filled = gravity_entry(TYPED | typed, BATCH, (), NOW, UNITS)
    assert (filled.value is None) == bool(filled.errors or filled.doubts)
    if filled.value is not None:
        assert math.isfinite(filled.value.entered + filled.value.taken_utc_s)


AMERICAN = Units(TemperatureUnit.FAHRENHEIT, GravityUnit.PLATO, VolumeUnit.GALLON, ZONE)


def test_a_reader_in_fahrenheit_types_fahrenheit_and_celsius_is_kept():
    typed = TYPED | {"entered": "6.5", "unit": "plato", "sample": "95", "calibrated": "68"}
    filled = gravity_entry(typed, BATCH, (), NOW, AMERICAN)
    assert (filled.value.sample_c, filled.value.calibrated_c) == pytest.approx((35.0, 20.0))


def test_what_is_out_of_range_is_said_in_the_readers_unit():
    filled = gravity_entry(TYPED | {"sample": "190", "calibrated": "68"}, BATCH, (), NOW, AMERICAN)
    assert "190 °F is outside 32 to 122 °F" in filled.errors["sample"]
    assert "°C" not in filled.errors["sample"]


def test_a_celsius_figure_typed_into_a_fahrenheit_field_is_asked_about():
    filled = gravity_entry(TYPED | {"sample": "35", "calibrated": "68"}, BATCH, (), NOW, AMERICAN)
    assert filled.doubts == ("35 °F is colder than any ferment. If 35 °C is meant, type 95.",)


def test_gallons_become_litres_and_their_limits_are_said_in_gallons():
    filled = batch_entry(BATCH_TYPED | {"volume": "5.5"}, "left", strains(), NOW, AMERICAN)
    assert filled.value.volume_l == pytest.approx(20.82, abs=0.005)
    filled = batch_entry(BATCH_TYPED | {"volume": "5300"}, "left", strains(), NOW, AMERICAN)
    assert filled.errors["volume"] == "Type the US gallons of beer, from 0.026 to 530."


def moment(text: str, latest: datetime) -> tuple[float, dict]:
    reader = Reader({"taken": text}, UNITS)
    return reader.moment("taken", latest.timestamp(), "future"), reader.errors


def test_a_time_that_comes_twice_is_the_later_one_unless_that_is_yet_to_come():
    first = datetime(2026, 10, 25, 2, 30, fold=0, tzinfo=ZONE)
    second = first.replace(fold=1)
    assert second.timestamp() - first.timestamp() == 3600
    assert moment("2026-10-25T02:30", first) == (first.timestamp(), {})
    assert moment("2026-10-25T02:30", second) == (second.timestamp(), {})


def test_a_time_that_the_clocks_skipped_is_refused():
    _, errors = moment("2026-03-29T02:30", datetime(2026, 3, 30, tzinfo=ZONE))
    assert errors == {"taken": "The clocks went forward then; that time was skipped."}


def test_a_year_before_all_zones_is_refused_and_not_stumbled_over():
    _, errors = moment("0001-01-01T00:00", datetime(2026, 3, 30, tzinfo=ZONE))
    assert "before this century" in errors["taken"]
