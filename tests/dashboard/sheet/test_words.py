"""Numbers and times read as a person writes them."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.sheet import words
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
    scale = axis.temperature_scale(values, 4.0, 7)
    assert scale.low <= min(values) and max(values) <= scale.high
    assert scale.high - scale.low >= 4.0
    assert scale.ticks[0] == scale.low and scale.ticks[-1] == scale.high
    assert len(scale.ticks) <= 9
