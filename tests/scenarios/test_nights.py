"""Whole nights in a cold garage: the real loop, gpiozero, w1thermsensor and journal."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.decision.vocabulary import Role
from tests.scenarios.garage import settings, spent


def test_a_calm_night_is_held(tmp_path: Path) -> None:
    night = spent(tmp_path, days=2.0)
    assert night.score["rmse_k"] <= 0.10  # type: ignore[operator]
    assert night.score["within_03k"] >= 0.99  # type: ignore[operator]
    assert night.score["overshoot_k"] <= 0.3  # type: ignore[operator]
    assert night.score["edges_per_h"] <= 12.0  # type: ignore[operator]
    assert night.codes("raised") == []
    assert night.codes("begun") == ["controller", "profile"]


def test_the_same_seed_writes_the_same_journal(tmp_path: Path) -> None:
    first = spent(tmp_path / "a", days=0.25, seed=7)
    second = spent(tmp_path / "b", days=0.25, seed=7)
    other = spent(tmp_path / "c", days=0.25, seed=8)
    assert first.lines == second.lines
    assert first.lines != other.lines


@pytest.mark.parametrize(
    "fault",
    [
        "beer-missing@6h+2h",
        "beer-empty@6h+2h",
        "beer-no@6h+2h",
        "beer-garbled@6h+2h",
        "beer-power-on@6h+2h",
        "beer-unpowered@6h+2h",
        "beer-shorted@6h+2h",
        "beer-torn@6h+2h",
        "beer-eio@6h+2h",
        "beer-reads=-110@6h+2h",
    ],
)
def test_a_beer_probe_that_fails_turns_heat_off_within_a_minute_and_comes_back(
    tmp_path: Path, fault: str
) -> None:
    night = spent(tmp_path, fault, days=0.5)
    start_s = night.ticks[0].mono_s
    blind = [t for t in night.ticks if 6 * 3600 + 70 < t.mono_s - start_s < 8 * 3600]
    assert blind
    assert not any(t.heat or t.fan for t in blind)
    assert night.codes("raised") == ["beer-probe-lost"]
    assert night.codes("cleared") == ["beer-probe-lost"]
    assert any(t.heat for t in night.after_h(8.1))


def test_a_garage_probe_that_fails_costs_nothing_but_a_low_alarm(tmp_path: Path) -> None:
    night = spent(tmp_path, "garage-missing@8h+6h", days=1.0)
    assert night.codes("raised") == ["garage-probe-lost"]
    assert night.score["within_03k"] >= 0.99  # type: ignore[operator]


def test_a_welded_heat_relay_is_found_and_stays_tripped(tmp_path: Path) -> None:
    night = spent(tmp_path, "heat-welded@8h", days=0.6)
    assert "heat-while-off" in night.codes("tripped")
    assert night.ticks[-1].trips


def test_a_pad_unplugged_during_the_warm_up_is_found(tmp_path: Path) -> None:
    without_pad_probe = settings(without=("pad =",))
    night = spent(tmp_path / "a", "mains-off@10min", days=0.4, given=without_pad_probe, start_c=8.0)
    assert "heat-without-effect" in night.codes("tripped")
    night = spent(tmp_path / "b", "mains-off@10min", days=0.2, start_c=8.0)
    assert "pad-stays-cold" in night.codes("tripped")


def test_a_probe_out_of_its_well_trips_before_the_pad_can_burn(tmp_path: Path) -> None:
    night = spent(tmp_path, "beer-out@8h", days=0.5)
    (trip,) = [e for e in night.events if e.state == "tripped"]
    assert trip.code == "fall-too-fast"
    assert trip.mono_s - night.ticks[0].mono_s < 8 * 3600 + 300
    assert not any(t.heat for t in night.after_h(8.1))


def test_a_jacket_left_open_for_an_hour_is_told_and_got_over(tmp_path: Path) -> None:
    night = spent(tmp_path, "jacket-open=4@10h+2h", days=1.0, mean_c=-2.0)
    assert night.codes("tripped") == []
    assert night.score["overshoot_k"] <= 0.3  # type: ignore[operator]


def test_a_night_too_cold_for_the_pad_is_told_from_the_energy_balance(tmp_path: Path) -> None:
    weak = settings()
    weak = replace(weak, vessel=replace(weak.vessel, pad_w=30.0))
    night = spent(tmp_path, days=1.5, given=weak, mean_c=-8.0, original_plato=0.0)
    (raised,) = [e for e in night.events if e.state == "raised" and e.code == "cannot-reach"]
    first_cold = next(t for t in night.ticks if t.beer_c is not None and t.beer_c < 34.0)
    assert raised.utc_s <= first_cold.utc_s or night.ticks[0].beer_c is None
    assert night.codes("tripped") == []


def test_wall_clock_steps_of_years_change_no_decision(tmp_path: Path) -> None:
    plain = spent(tmp_path / "a", days=0.4)
    stepped = spent(tmp_path / "b", "clock-step=315360000@3h+1h", "clock-unsynced@3h+2h", days=0.4)
    same = [(t.heat, t.fan, t.demand, t.beer_c) for t in plain.ticks]
    assert same == [(t.heat, t.fan, t.demand, t.beer_c) for t in stepped.ticks]


def test_without_a_batch_the_chamber_only_watches(tmp_path: Path) -> None:
    idle = replace(settings(), batch=None, profile=None)
    night = spent(tmp_path, days=0.1, given=idle)
    assert not any(t.heat or t.fan for t in night.ticks)
    assert night.ticks[-1].target_c is None
    assert night.ticks[-1].beer_c is not None


def test_a_chamber_without_garage_pad_or_fan_works(tmp_path: Path) -> None:
    bare = settings(without=("garage", "pad =", "fan_gpio"))
    assert tuple(bare.probes.fitted()) == (Role.BEER,)
    night = spent(tmp_path, days=1.0, given=bare)
    assert night.score["within_03k"] >= 0.98  # type: ignore[operator]


def test_a_probe_put_back_into_its_well_accuses_nobody(tmp_path: Path) -> None:
    night = spent(tmp_path, "beer-out@8h+15min", days=0.6)
    assert night.codes("tripped") == ["fall-too-fast"]
    assert "fall-too-fast" in night.codes("released")
    assert any(t.heat for t in night.after_h(8.8))
    assert not any(t.heat for t in night.after_h(8.05) if t.trips)
