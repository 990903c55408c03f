"""Hazards 36, 39, 42, 43 and 56 in the garage: power, lines and clocks."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.simulation.simulate import Garage, Show, simulate
from controller.wire import Tick
from tests.hazards import keeps
from tests.scenarios.garage import lines_in, settings, spent
from tests.scenarios.hazards.seen import since_s, tripped_s


@pytest.mark.hazard(39)
def test_a_line_that_does_not_read_back_ends_the_heat(tmp_path: Path) -> None:
    night = spent(tmp_path, "heat-grounded@30min", days=1.0 / 24.0, start_c=8.0)
    keeps(39, tripped_s(night, ("relay-disagrees",), 0.5))


@pytest.mark.hazard(42)
@pytest.mark.parametrize("step_s", [315_360_000, -315_360_000, 3600, -3600])
def test_no_step_of_the_wall_clock_changes_what_is_switched(tmp_path: Path, step_s: int) -> None:
    plain = spent(tmp_path / "a", days=0.15)
    stepped = spent(tmp_path / "b", f"clock-step={step_s}@1h+1h", "clock-unsynced@1h+2h", days=0.15)
    same = [(t.heat, t.fan, t.demand, t.beer_c) for t in plain.ticks]
    assert same == [(t.heat, t.fan, t.demand, t.beer_c) for t in stepped.ticks]


@pytest.mark.hazard(36)
def test_after_a_power_cut_nothing_is_heated_before_three_good_readings(tmp_path: Path) -> None:
    spent(tmp_path, days=0.5 / 24.0, start_c=8.0)
    second = [line for line in _second_life(tmp_path) if isinstance(line, Tick)]
    before_heat = [tick for tick in second if tick.mono_s < _first_heat(second).mono_s]
    assert len(before_heat) >= 2  # The third reading is that of the tick that heats.
    keeps(36, _first_heat(second).mono_s - second[0].mono_s)


@pytest.mark.hazard(56)
def test_a_trip_acts_although_nobody_can_be_told(tmp_path: Path) -> None:
    # No broker is named: nothing that is told reaches anybody, and the heat is off all the same.
    night = spent(tmp_path, "beer-out@2h", days=3.0 / 24.0, start_c=34.0)
    assert not any(tick.heat for tick in night.after_h(2.1))
    assert since_s(night, night.ticks[-1], 2.0) > 0.0


def _second_life(folder: Path) -> list[object]:
    first = len(list(lines_in(folder)))
    simulate(settings(), Garage(start_c=8.0, seed=2), Show(days=0.5 / 24.0, journal=folder))
    return list(lines_in(folder))[first:]


def _first_heat(ticks: list[Tick]) -> Tick:
    return next(tick for tick in ticks if tick.heat)
