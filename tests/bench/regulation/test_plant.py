"""The plant of the benchmark against what must hold for any vessel."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from tests.bench.regulation.plant import Plant, PlantSettings, capacities_of, straight


def test_every_joule_is_accounted_for() -> None:
    plant = Plant(PlantSettings())
    for turn in range(8_640):
        plant.loss_factor = 3.0 if 2_000 < turn < 2_300 else 1.0
        if turn == 5_000:
            plant.add_cold(2.0, 8.0)
        plant.step(10.0, turn % 90 < 50, turn % 700 > 600, 5.0 - turn / 1_000.0, 6.0)
    came_j = plant.pad_j + plant.ferment_j
    assert plant.stored_j() + plant.lost_j == pytest.approx(came_j, rel=1e-9)
    assert came_j > 3e6


def test_with_the_plume_made_straight_it_is_the_matrix_exponential() -> None:
    """The exact solution of a linear system under a constant input."""
    settings = PlantSettings(plume_w=0.0)
    plant = Plant(settings)
    for _ in range(1_080):
        plant.step(10.0, True, False, 5.0, 4.0)
    flow, drive = straight(settings, 1.0, 4.0, 0.0)
    forced = drive @ np.array([1.0, 0.0, 4.0, 5.0])
    whole = np.zeros((7, 7))
    whole[:6, :6], whole[:6, 6] = flow, forced
    exact = (expm(whole * 10_800.0) @ np.array([20.0] * 6 + [1.0]))[:6]
    assert np.array(plant.now_c) == pytest.approx(exact, abs=0.02)


def test_well_stirred_it_is_newtons_law_of_cooling() -> None:
    settings = PlantSettings(
        still_w_per_k=600.0, plume_w=0.0, jacket_j_per_k=200.0, pad_j_per_k=500.0, start_c=35.0
    )
    plant = Plant(settings)
    for _ in range(8_640):
        plant.step(10.0, False, False, 5.0, 0.0)
    capacity = sum(capacities_of(settings)[:4])
    lump_c = 5.0 + 30.0 * np.exp(-0.85 * 86_400.0 / capacity)
    assert plant.beer_c == pytest.approx(lump_c, abs=0.15)


def test_it_settles_where_the_loss_takes_all_the_heat() -> None:
    # Settled, the garage takes what the ferment gives through the loss stated.
    plant = Plant(PlantSettings(still_w_per_k=200.0, loss_w_per_k=3.4))
    for _ in range(30_000):
        plant.step(10.0, False, False, 5.0, 34.0)
    assert plant.beer_c == pytest.approx(15.0, abs=0.15)


def test_the_pad_runs_as_hot_as_published_for_its_contact() -> None:
    """60 W through 4 W/K: 15 K over the wort; 100 W through 1.3 W/K: 77 K (series resistances)."""
    for pad_w, contact, rise_k in ((60.0, 4.0, 15.0), (100.0, 1.3, 77.0)):
        plant = Plant(PlantSettings(pad_w=pad_w, contact_w_per_k=contact, start_c=35.0))
        for _ in range(540):
            plant.step(10.0, True, False, 5.0, 0.0)
        assert plant.pad_c - plant.beer_c == pytest.approx(rise_k, rel=0.15)


@pytest.mark.parametrize(
    ("changes", "delay_s"),
    [({}, 426.0), ({"pad_w": 100.0, "contact_w_per_k": 1.3}, 923.0), ({"volume_l": 5.0}, 351.0)],
)
def test_its_apparent_delay_is_that_of_another_plant(changes, delay_s) -> None:
    plant = Plant(PlantSettings(loss_w_per_k=0.01, **changes))
    seen = []
    for _ in range(900):
        plant.step(10.0, True, False, 20.0, 0.0)
        seen.append(plant.bead_c)
    slope = (seen[-1] - seen[-181]) / 1_800.0
    assert 9_000.0 - (seen[-1] - 20.0) / slope == pytest.approx(delay_s, rel=0.25)
