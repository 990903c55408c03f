"""The score against runs whose measures are known by hand."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from gpiozero import OutputDevice

from controller.simulation.score import Score
from controller.simulation.world import Scene, World


@pytest.fixture
def world() -> Iterator[World]:
    with World(Scene()) as world:
        yield world


def spend(world: World, score: Score, beer_c: float, target_c: float | None, ticks: int) -> None:
    """Let the beer be exactly this warm for so many ticks of ten seconds."""
    for _ in range(ticks):
        world.sleep_until(world.now().mono_s + 10.0)
        world.garage.beer_c = beer_c
        score.tick(target_c)


def test_the_names_are_these_and_an_empty_run_has_no_precision(world: World) -> None:
    measures = Score(world).as_dict()
    assert list(measures) == [
        "within_03k", "rmse_k", "overshoot_k", "warmup_h", "edges_per_h", "energy_kwh",
        "heat_and_fan_together_s", "alarms", "ticks", "wall_s",
    ]  # fmt: skip
    assert measures["within_03k"] is None
    assert measures["warmup_h"] is None


def test_a_warm_up_then_a_hold(world: World) -> None:
    score = Score(world)
    score.tick(35.0)
    spend(world, score, 20.0, 35.0, 719)
    spend(world, score, 34.8, 35.0, 1)  # arrives after two hours to the tick
    spend(world, score, 35.2, 35.0, 300)
    spend(world, score, 35.4, 35.0, 100)
    measures = score.as_dict()
    assert measures["warmup_h"] == pytest.approx(2.0)
    assert measures["within_03k"] == pytest.approx(0.75)
    assert measures["overshoot_k"] == pytest.approx(0.4)
    assert measures["rmse_k"] == pytest.approx(((3 * 0.04 + 0.16) / 4) ** 0.5)
    assert measures["ticks"] == 1_121


def test_nothing_asked_for_counts_for_nothing(world: World) -> None:
    score = Score(world)
    spend(world, score, 10.0, None, 100)
    spend(world, score, 35.0, 35.0, 2)
    spend(world, score, 50.0, None, 100)
    measures = score.as_dict()
    assert measures["within_03k"] == 1.0
    assert measures["overshoot_k"] == 0.0


def test_a_step_of_the_target_starts_a_new_arrival_and_a_ramp_does_not(world: World) -> None:
    score = Score(world)
    spend(world, score, 20.0, 20.0, 10)
    target_c = 20.0
    for _ in range(1_000):
        target_c += 0.001
        spend(world, score, target_c - 0.1, target_c, 1)
    assert score.as_dict()["rmse_k"] == pytest.approx(0.1, rel=0.02)
    spend(world, score, 20.9, 25.0, 200)  # on the way: not held against it
    assert score.as_dict()["within_03k"] == 1.0
    spend(world, score, 25.0, 25.0, 1)
    spend(world, score, 25.0, 25.0, 10)
    assert score.as_dict()["within_03k"] == 1.0


def test_relays_are_counted_as_they_truly_are(world: World) -> None:
    heat = OutputDevice(17, pin_factory=world.pins)
    fan = OutputDevice(27, pin_factory=world.pins)
    score = Score(world)
    for cycle in range(6):
        heat.on()
        spend(world, score, 35.0, 35.0, 2 if cycle == 3 else 30)
        heat.off()
        spend(world, score, 35.0, 35.0, 30)
    heat.on()
    fan.on()
    spend(world, score, 35.0, 35.0, 31)
    measures = score.as_dict()
    hours = (score.ticks - 1) * 10.0 / 3_600.0
    assert measures["edges_per_h"] == pytest.approx(14 / hours, rel=1e-6)
    assert measures["heat_and_fan_together_s"] == pytest.approx(300.0)
    assert score.short_dwells == 1
    assert measures["energy_kwh"] == pytest.approx(world.garage.energy_used_j / 3.6e6)
    assert score.highest_pad_c > 20.0
