"""Conversions against published figures, and what becomes of sentences written in metric units."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.facts import GravityUnit
from dashboard.sheet import words
from dashboard.sheet.units import (
    TemperatureUnit,
    Units,
    VolumeUnit,
    text_of,
    units_of_text,
    zone_named,
)

CHICAGO = ZoneInfo("America/Chicago")
AMERICAN = Units(
    TemperatureUnit.FAHRENHEIT, GravityUnit.PLATO, VolumeUnit.GALLON, ZoneInfo("America/Chicago")
)
METRIC = Units()


@pytest.mark.parametrize(
    ("value_c", "value_f"),
    # Source: NIST SP 811 (2008), B.8, t/°C = (t/°F - 32)/1.8 (from memory); fixed points: ice and
    # steam, where both scales meet, and body temperature as Fahrenheit's modern scale has it.
    [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6), (35.0, 95.0), (20.0, 68.0)],
)
def test_temperatures_agree_with_the_published_rule(value_c, value_f):
    assert AMERICAN.degrees(value_c) == pytest.approx(value_f, abs=1e-9)
    assert AMERICAN.celsius(value_f) == pytest.approx(value_c, abs=1e-9)


def test_a_difference_has_no_offset():
    # Source: NIST SP 811 (2008), B.8: 1 °F of difference is 5/9 K (from memory).
    assert AMERICAN.difference(5.0) == pytest.approx(9.0)
    assert words.difference(-0.5, AMERICAN) == "0.9\u00a0°F"


@pytest.mark.parametrize(
    ("litres", "gallons"),
    # Source: NIST SP 811 (2008), B.8: gallon (U.S.) 3.785 412 E-03 m³ (from memory); NIST Handbook
    # 44, appendix C: 1 gallon is 231 cubic inches, 1 inch is 25.4 mm (from memory).
    [(3.785412, 1.0), (231 * 2.54**3 / 1000, 1.0), (18.92706, 5.0), (117.3478, 31.0)],
)
def test_volumes_agree_with_the_published_factor(litres, gallons):
    assert AMERICAN.volume_shown(litres) == pytest.approx(gallons, rel=1e-6)
    assert AMERICAN.litres(gallons) == pytest.approx(litres, rel=1e-6)
    assert METRIC.litres(litres) == METRIC.volume_shown(litres) == litres


@pytest.mark.parametrize(
    ("sg", "text"),
    # Source: ASBC table of extract in wort, SG 20/20 to °P (from memory): 1.040 is 9.993 °P, 1.048
    # is 11.908 °P, 1.060 is 14.74 °P.
    [
        (1.000, "0.0\u00a0°P"),
        (1.040, "10.0\u00a0°P"),
        (1.048, "11.9\u00a0°P"),
        (1.060, "14.7\u00a0°P"),
    ],
)
def test_gravities_agree_with_the_published_table(sg, text):
    assert words.gravity(sg, AMERICAN) == text
    assert words.gravity(sg, METRIC) == f"{sg:.3f}"


def test_a_gravity_below_water_has_a_true_minus_and_one_beyond_the_scale_stays_sg():
    assert words.gravity(0.998, AMERICAN).startswith("\u22120.5")
    assert words.gravity(1.200, AMERICAN) == "1.200"


@given(st.floats(-50, 150))
def test_what_is_shown_comes_back_as_it_was(value):
    assert AMERICAN.celsius(AMERICAN.degrees(value)) == pytest.approx(value, abs=1e-9)
    assert AMERICAN.litres(AMERICAN.volume_shown(value)) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        (
            "The beer is at 33.8 °C, 1.2 K below its target of 35.0 °C.",
            "The beer is at 92.8 °F, 2.2 °F below its target of 95.0 °F.",
        ),
        ("Bring the sample between 10 and 40 °C.", "Bring the sample between 50 and 104 °F."),
        ("It is outside 0 to 50 °C.", "It is outside 32 to 122 °F."),
        ("The garage is at \u22124.0\u00a0°C.", "The garage is at 24.8\u00a0°F."),
        ("It reads -40 °C.", "It reads \u221240 °F."),
        (
            "It is 92 °C. If 92 °F is meant, type 33.3 (°C). Look again.",
            "It is 198 °F. Look again.",
        ),
        ("It would need about 118 % of its watts, step 2 of 3.", None),
    ],
)
def test_a_sentence_in_celsius_is_reworded(written, read):
    assert AMERICAN.reworded(written) == (read or written)
    assert METRIC.reworded(written) == written


def test_a_doubt_about_gravities_is_reweighed_only_for_who_reads_plato():
    doubt = "1.060 is above the original gravity, 1.048. Was it SG 1.048?"
    assert AMERICAN.reweighed(doubt) == (
        "14.7\u00a0°P is above the original gravity, 11.9\u00a0°P. Was it 11.9\u00a0°P?"
    )
    assert METRIC.reweighed(doubt) == doubt


def test_a_choice_is_one_word_and_comes_back():
    assert text_of(AMERICAN) == "f:plato:gal:America/Chicago"
    assert units_of_text(text_of(AMERICAN), METRIC) == AMERICAN
    assert units_of_text("c:sg:l:", Units(zone=CHICAGO)).zone is CHICAGO


@pytest.mark.parametrize(
    "text", [None, "", "f", "f:plato:gal", "x:sg:l:", "f:sg:cup:", "f:plato:gal:a:b", "🍺" * 90]
)
def test_a_word_that_makes_no_sense_changes_nothing(text):
    assert units_of_text(text, METRIC) == METRIC


@pytest.mark.parametrize(
    "key", ["", "Nowhere/At-All", "../etc/passwd", "Europe", "Etc/GMT+5", "x" * 500]
)
def test_only_places_are_zones(key):
    assert zone_named(key) is None
