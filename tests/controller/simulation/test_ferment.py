"""The simulated ferment: what must hold of its course, its heat and its rate."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.simulation.ferment import Ferment, FermentSettings, rate_share

HOT = FermentSettings()


def hours_to(share: float, beer_c: float, settings: FermentSettings = HOT) -> float:
    ferment = Ferment(settings, 20.0)
    hours = 0.0
    while ferment.share_done < share:
        ferment.advance(360.0, beer_c)
        hours += 0.1
        assert hours < 2_000.0
    return hours


def test_a_cold_ferment_is_slow_and_a_hot_one_quick() -> None:
    assert 20.0 < hours_to(2 / 3, 37.0) < 40.0
    assert hours_to(2 / 3, 20.0) > 2.5 * hours_to(2 / 3, 37.0)
    assert hours_to(2 / 3, 10.0) > 10.0 * hours_to(2 / 3, 37.0)


def test_nothing_ferments_outside_the_cardinal_temperatures() -> None:
    for beer_c in (-5.0, 5.0, 45.0, 60.0):
        assert rate_share(HOT, beer_c) == 0.0
        assert Ferment(HOT, 20.0).advance(3_600.0, beer_c) == 0.0


@given(st.floats(-10.0, 60.0))
def test_the_rate_is_a_share_of_the_best(beer_c: float) -> None:
    assert 0.0 <= rate_share(HOT, beer_c) <= 1.0


def test_the_rate_is_greatest_at_the_best_temperature() -> None:
    assert rate_share(HOT, 37.5) == pytest.approx(1.0)
    assert rate_share(HOT, 37.0) < 1.0
    assert rate_share(HOT, 38.0) < 1.0


@given(st.floats(1.0, 60.0), st.floats(6.0, 44.0))
def test_the_step_does_not_matter(dt_s: float, beer_c: float) -> None:
    """The logistic step is exact, so one long step is many short ones."""
    short, long = Ferment(HOT, 20.0), Ferment(HOT, 20.0)
    for _ in range(20):
        short.advance(dt_s, beer_c)
    long.advance(20 * dt_s, beer_c)
    assert short.share_done == pytest.approx(long.share_done, rel=1e-9, abs=1e-12)


def test_all_the_heat_comes_and_the_gravity_arrives() -> None:
    ferment = Ferment(HOT, 20.0)
    assert ferment.apparent_plato == HOT.original_plato
    heat_j = sum(ferment.advance(60.0, 36.0) for _ in range(10 * 1_440))
    assert heat_j == pytest.approx(ferment.total_heat_j, rel=1e-6)
    assert ferment.apparent_plato == pytest.approx(HOT.final_plato, abs=1e-4)


def test_water_never_ferments_and_pitching_may_wait() -> None:
    water = Ferment(FermentSettings(original_plato=0.0, final_plato=0.0), 20.0)
    assert water.advance(3_600.0, 36.0) == 0.0
    late = Ferment(FermentSettings(pitch_after_h=2.0), 20.0)
    assert [late.advance(3_600.0, 36.0) > 0.0 for _ in range(3)] == [False, False, True]


def test_slow_yeast_takes_longer() -> None:
    weak, strong = Ferment(HOT, 20.0), Ferment(HOT, 20.0)
    weak.vigour = 0.1
    for _ in range(1_000):
        weak.advance(60.0, 36.0)
        strong.advance(60.0, 36.0)
    assert weak.share_done < 0.1 * strong.share_done
