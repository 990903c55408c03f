"""Numbers and times read as a person writes them."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.facts import GravityUnit
from dashboard.fermentation.gravity import plato_from_sg
from dashboard.sheet import words
from dashboard.sheet.units import TemperatureUnit, Units
from dashboard.strip import axis

ZONE = ZoneInfo("Europe/Stockholm")


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


NOW = utc_s("2026-01-15 21:30")


@pytest.mark.parametrize(
    ("then", "said"),
    [
        ("2026-01-15 14:20", "14:20"),
        ("2026-01-14 23:59", "Wednesday 23:59"),
        ("2026-01-09 07:00", "Friday 07:00"),
        ("2026-01-08 07:00", "8 January 07:00"),
        ("2025-12-31 22:00", "31 December 2025 22:00"),
    ],
)
def test_a_moment_is_said_as_short_as_it_is_clear(then, said):
    assert words.moment(utc_s(then), NOW, ZONE) == said


def test_temperatures_have_one_decimal_a_true_minus_and_no_minus_nought():
    assert words.temperature(35) == "35.0\u00a0°C"
    assert words.temperature(-3.25) == "\u22123.2\u00a0°C"
    assert words.temperature(-0.04) == "0.0\u00a0°C"
    assert words.temperature(None) == "—"


def test_day_one_is_the_first_day_after_pitching():
    assert [words.day_number(x, 100.0) for x in (99.0, 100.0, 86_499.0, 86_500.0)] == [0, 1, 1, 2]


def test_clock_marks_stay_on_whole_hours_when_the_clocks_change():
    start = utc_s("2026-03-28 12:00")
    marks = axis.clock_marks(start, start + 36 * 3600, ZONE, 8)
    hours = [
        words.local(start + mark.share * 36 * 3600 + 0.01, ZONE).strftime("%H:%M") for mark in marks
    ]
    assert hours == ["12:00", "18:00", "00:00", "06:00", "12:00", "18:00", "00:00"]


@pytest.mark.parametrize("values", [[35.0], [2.0, 40.0], [-12.0, -11.9], [34.9, 35.1, 35.0]])
def test_a_scale_holds_its_values_on_round_marks(values):
    scale = axis.temperature_scale(values, 4.0, 7, words.USUAL)
    assert scale.low <= min(values) and max(values) <= scale.high
    assert scale.high - scale.low >= 4.0
    assert scale.ticks[0] == scale.low and scale.ticks[-1] == scale.high
    assert len(scale.ticks) <= 9


def marks_of(start: str, hours: float, count: int) -> list[tuple[str, float]]:
    """What stands at each mark of an axis, and how many real hours after its left end."""
    from_utc_s = utc_s(start)
    marks = axis.clock_marks(from_utc_s, from_utc_s + hours * 3600, ZONE, count)
    return [(mark.text, round(mark.share * hours, 6)) for mark in marks]


def test_the_hour_that_the_clocks_skip_has_no_mark():
    # Source: EU directive 2000/84/EC: summer time begins at 1:00 UTC on the last Sunday of March.
    assert marks_of("2026-03-29 00:00", 4, 8)[:6] == [
        ("00:00", 0.0), ("00:30", 0.5), ("01:00", 1.0), ("01:30", 1.5), ("03:00", 2.0),
        ("03:30", 2.5),
    ]  # fmt: skip
    assert marks_of("2026-03-29 00:00", 12, 8) == [
        ("Sun 00:00", 0.0), ("04:00", 3.0), ("06:00", 5.0), ("08:00", 7.0), ("10:00", 9.0),
        ("12:00", 11.0),
    ]  # fmt: skip


def test_the_hour_that_comes_twice_is_marked_twice_only_where_every_hour_is():
    # Source: EU directive 2000/84/EC: summer time ends at 1:00 UTC on the last Sunday of October.
    assert [text for text, _ in marks_of("2026-10-25 01:00", 3, 4)] == [
        "01:00", "02:00", "02:00", "03:00",
    ]  # fmt: skip
    assert marks_of("2026-10-25 00:00", 8, 5) == [
        ("Sun 00:00", 0.0), ("02:00", 2.0), ("04:00", 5.0), ("06:00", 7.0),
    ]  # fmt: skip


def test_a_days_mark_is_midnight_of_days_of_23_24_and_25_hours():
    days = [hours for _, hours in marks_of("2026-03-27 00:00", 24 * 5, 5)]
    assert days == [0.0, 24.0, 48.0, 71.0, 95.0, 119.0]
    autumn = [hours for _, hours in marks_of("2026-10-23 00:00", 24 * 4, 5)]
    assert autumn == [0.0, 24.0, 48.0, 73.0]


def test_a_day_of_a_batch_is_24_real_hours_whatever_the_clocks_do():
    pitched = utc_s("2026-03-28 20:00")
    assert words.day_number(utc_s("2026-03-29 20:30"), pitched) == 1  # 23.5 h
    assert words.day_number(utc_s("2026-03-29 21:00"), pitched) == 2


def test_a_scale_for_fahrenheit_has_round_fahrenheit_marks_and_stays_in_celsius():
    units = Units(TemperatureUnit.FAHRENHEIT)
    scale = axis.temperature_scale([20.0, 35.4], 4.0, 7, units)
    assert [round(units.degrees(tick), 9) for tick in scale.ticks] == [
        65,
        70,
        75,
        80,
        85,
        90,
        95,
        100,
    ]
    assert scale.low <= 20.0 and scale.high >= 35.4


def test_a_scale_for_plato_has_round_plato_marks_where_their_gravities_are():
    scale = axis.gravity_scale([1.012, 1.052], Units(gravity=GravityUnit.PLATO))
    assert [round(plato_from_sg(tick), 2) for tick in scale.ticks] == [2, 4, 6, 8, 10, 12, 14]
    assert scale.low <= 1.012 and scale.high >= 1.052
    assert axis.gravity_scale([0.981, 1.169], Units(gravity=GravityUnit.PLATO)).high <= 1.17
