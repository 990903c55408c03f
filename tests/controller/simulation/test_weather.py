"""The garage air: a day, a wander of the right size and memory, and cold snaps by the hour."""

from __future__ import annotations

from math import exp
from statistics import correlation, fmean, stdev

import pytest

from controller.simulation.weather import ColdSnap, Weather, WeatherSettings


def test_a_day_is_warmest_at_three_in_the_afternoon_and_coldest_twelve_hours_later() -> None:
    weather = Weather(WeatherSettings(mean_c=4.0, swing_k=5.0, wander_k=0.0), 1, 0.0)
    assert weather.at(3 * 3_600.0) == pytest.approx(-1.0)
    assert weather.at(9 * 3_600.0) == pytest.approx(4.0)
    assert weather.at(15 * 3_600.0) == pytest.approx(9.0)


def test_the_wander_has_its_spread_and_its_hour_of_memory() -> None:
    settings = WeatherSettings(mean_c=0.0, swing_k=0.0, wander_k=0.4)
    weather = Weather(settings, 5, 0.0)
    values_c = [weather.at(300.0 * cell) for cell in range(12 * 24 * 365)]
    assert fmean(values_c) == pytest.approx(0.0, abs=0.03)
    assert stdev(values_c) == pytest.approx(0.4, rel=0.05)
    # A first-order autoregression with a memory of one hour: exp(-1) an hour later.
    assert correlation(values_c[:-12], values_c[12:]) == pytest.approx(exp(-1.0), abs=0.03)


def test_the_air_at_an_instant_does_not_depend_on_the_steps_to_it() -> None:
    fine, coarse = (Weather(WeatherSettings(), 9, 1_000.0) for _ in range(2))
    for second in range(1_000, 90_000, 7):
        fine.at(float(second))
    assert fine.at(90_000.0) == coarse.at(90_000.0)


def test_a_cold_snap_falls_stays_and_rises() -> None:
    snap = ColdSnap(from_h=10.0, fall_h=6.0, drop_k=17.0, stay_h=4.0, rise_h=2.0)
    settings = WeatherSettings(mean_c=5.0, swing_k=0.0, wander_k=0.0, cold_snaps=(snap,))
    weather = Weather(settings, 1, 0.0)
    at_hour = {hour: weather.at(hour * 3_600.0) for hour in range(24)}
    assert at_hour[10] == pytest.approx(5.0)
    assert at_hour[13] == pytest.approx(5.0 - 8.5)
    assert at_hour[16] == at_hour[20] == pytest.approx(-12.0)
    assert at_hour[21] == pytest.approx(5.0 - 8.5)
    assert at_hour[22] == pytest.approx(5.0)
