from __future__ import annotations

from pathlib import Path

import pytest

from controller.errors import BarmkeepError
from controller.simulation.forecast import parse_forecast
from controller.simulation.weather import Weather, WeatherSettings


def at(course: tuple[tuple[float, float], ...], hour: float) -> float:
    return dict(course)[hour]


def test_nights_become_a_course_with_its_extremes_at_sunrise_and_in_the_afternoon() -> None:
    course = parse_forecast("-4/6, -8/2", start_hour=12.0)
    # From noon: 15:00 is hour 3, the next sunrise (06:00) hour 18.
    assert at(course, 3.0) == 6.0
    assert at(course, 18.0) == -4.0
    assert at(course, 27.0) == 2.0
    assert at(course, 42.0) == -8.0
    assert course[0][0] == 0.0 and course[-1][0] == 48.0
    assert min(c for _, c in course) == -8.0 and max(c for _, c in course) == 6.0


def test_one_night_is_enough_and_plus_signs_and_fractions_are_read() -> None:
    course = parse_forecast("+1.5/+7.25", start_hour=0.0)
    assert at(course, 6.0) == 1.5
    assert at(course, 15.0) == 7.25


def test_a_file_of_hours_is_read(tmp_path: Path) -> None:
    path = tmp_path / "week.csv"
    path.write_text("hour,garage_c\n0,5\n6,-2.5\n30,3\n", encoding="utf-8")
    assert parse_forecast(str(path), 12.0) == ((0.0, 5.0), (6.0, -2.5), (30.0, 3.0))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("cold", "is no forecast"),
        ("6/-4", "warmer than the day"),
        ("-4/600", "no temperature of a garage"),
        (",".join(["0/5"] * 61), "61 nights"),
        ("nowhere.csv", "cannot be read"),
    ],
)
def test_what_is_no_forecast_is_refused_with_a_remedy(text: str, says: str) -> None:
    with pytest.raises(BarmkeepError) as refused:
        parse_forecast(text, 12.0)
    assert says in refused.value.what
    assert refused.value.remedy


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("hour,garage_c\n0,5\n", "1 rows"),
        ("hour,garage_c\n0,5\n0,6\n", "do not rise"),
        ("hour,garage_c\n0,5\nsix,6\n", "line 3"),
        ("time,celsius\n0,5\n1,6\n", "line 2"),
        ("hour,garage_c\n0,5\n1\n", "line 3"),
    ],
)
def test_a_damaged_file_names_its_line(tmp_path: Path, rows: str, says: str) -> None:
    path = tmp_path / "week.csv"
    path.write_text(rows, encoding="utf-8")
    with pytest.raises(BarmkeepError, match=says):
        parse_forecast(str(path), 12.0)


def test_the_weather_follows_a_course_and_stays_at_its_ends() -> None:
    settings = WeatherSettings(wander_k=0.0, course=((1.0, 4.0), (3.0, 8.0)))
    weather = Weather(settings, seed=1, start_utc_s=0.0)
    found = [weather.at(hour * 3600.0) for hour in (0.0, 1.0, 2.0, 3.0, 9.0)]
    assert found == pytest.approx([4.0, 4.0, 6.0, 8.0, 8.0])
