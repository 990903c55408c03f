"""Windows of time in words: never more exact than they are, and in the reader's own zone."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.sheet import spans

ZONE = ZoneInfo("Europe/Stockholm")
HOUR_S = 3600.0


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


NOW = at("2026-01-13 14:20")  # A Tuesday.


@pytest.mark.parametrize(
    ("when", "expected"),
    [
        ("2026-01-13 16:00", "this afternoon"),
        ("2026-01-13 20:00", "this evening"),
        ("2026-01-14 02:00", "tonight"),  # after midnight it is still the same night
        ("2026-01-14 09:00", "tomorrow morning"),
        ("2026-01-15 20:00", "Thursday evening"),
        ("2026-01-16 01:30", "Thursday night"),
        ("2026-01-12 20:00", "yesterday evening"),
        ("2026-01-13 03:00", "last night"),
        ("2026-01-23 08:00", "23 January, in the morning"),
        ("2026-01-24 01:00", "23 January, at night"),
    ],
)
def test_a_part_of_a_day_is_called_as_people_call_it(when, expected):
    assert spans.part_of_day(at(when), NOW, ZONE) == expected


def test_a_window_is_a_time_and_a_margin():
    low, high = at("2026-01-15 14:00"), at("2026-01-16 02:00")
    assert spans.window(low, high, NOW, ZONE) == "Thursday evening, give or take six hours"


def test_a_narrow_window_has_a_clock_time():
    low, high = at("2026-01-13 18:10"), at("2026-01-13 20:10")
    assert spans.window(low, high, NOW, ZONE) == "at about 19:00, give or take an hour"


def test_one_that_has_begun_is_perhaps_over():
    said = spans.window(NOW - HOUR_S, at("2026-01-13 21:00"), NOW, ZONE)
    assert said == "by this evening, perhaps already"


def test_one_without_an_end_is_not_before():
    said = spans.window(at("2026-01-17 09:00"), None, NOW, ZONE)
    assert said == "not before Saturday morning"


@given(st.floats(0.0, 400.0))
def test_a_margin_is_never_said_smaller_than_it_is_by_more_than_a_quarter_of_its_unit(half_h):
    said = spans.margin(half_h)
    count, _, unit = said.rpartition(" ")
    words = {"half an": 0.5, "an": 1.0}
    number = words.get(count) or (
        spans._COUNTED.index(count) if count in spans._COUNTED else float(count)
    )
    hours = number * (24.0 if unit == "days" else 1.0)
    assert hours >= half_h - 0.25 * (24.0 if unit == "days" else 1.0) - 1e-9


def test_lengths_of_time():
    assert [spans.hours(each) for each in (0.4, 1.2, 7.0, 72.0)] == [
        "24 minutes", "1 hour", "7 hours", "3 days",
    ]  # fmt: skip
