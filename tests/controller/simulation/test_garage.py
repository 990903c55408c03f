"""The simulated garage against what must hold of any garage, and against exact solutions."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import exp

import numpy as np
import pytest
from scipy.linalg import expm

from controller.errors import SettingsError
from controller.simulation.ferment import FermentSettings
from controller.simulation.garage import Garage
from controller.simulation.plant import JACKETS, Disturbance, GarageSettings, ProbeSeat
from controller.simulation.weather import ColdSnap, WeatherSettings

WATER = FermentSettings(original_plato=0.0, final_plato=0.0)


def still_air(mean_c: float) -> WeatherSettings:
    return WeatherSettings(mean_c=mean_c, swing_k=0.0, wander_k=0.0)


def run(
    garage: Garage, seconds: float, *, heat: bool, fan: bool = False, dt_s: float = 10.0
) -> None:
    for _ in range(round(seconds / dt_s)):
        garage.step(dt_s, heat, fan, 0.0)


def three_busy_days(garage: Garage) -> None:
    """Relays cycling, a ferment, a cold snap, and most things wrong for a while."""
    troubles = {
        5_000: Disturbance(loss_factor=3.0),
        6_000: Disturbance(contact_factor=0.2),
        7_000: Disturbance(mixing_factor=0.0, garage_rise_k=12.0),
        8_000: Disturbance(seat=ProbeSeat.PAD, vigour=0.5),
        9_000: Disturbance(),
    }
    for tick in range(3 * 8_640):
        if tick in troubles:
            garage.disturb(troubles[tick])
        garage.step(10.0, tick % 60 < 25, tick % 700 > 640, 10.0 * (tick + 1))


@pytest.mark.parametrize("jacket", JACKETS)
@pytest.mark.parametrize("volume_l", [1.0, 5.0, 20.0, 60.0])
def test_every_joule_is_accounted_for(jacket: str, volume_l: float) -> None:
    weather = WeatherSettings(mean_c=18.0, cold_snaps=(ColdSnap(from_h=30.0),))
    settings = GarageSettings.jacketed(jacket, volume_l=volume_l, weather=weather, start_c=28.0)
    garage = Garage(settings, 3, 0.0)
    three_busy_days(garage)
    balance = garage.energy_balance()
    assert min(balance.pad_j, balance.lost_j) > 2e6
    assert balance.ferment_j > 1e4
    assert abs(balance.residual_j) < 1e-3 * balance.pad_j


def test_one_lumped_vessel_approaches_its_equilibrium_as_the_closed_form_says() -> None:
    """Newton's cooling: T = T_inf + (T0 - T_inf) exp(-t L/C), in the limit of perfect mixing."""
    settings = GarageSettings(
        loss_w_per_k=1.5, jacket_j_per_k=50.0, pad_j_per_k=50.0, vessel_j_per_k=50.0,
        pad_contact_w_per_k=100.0, still_mixing_w_per_k=1e4, buoyant_mixing_w=0.0,
        weather=still_air(2.0), ferment=WATER, start_c=12.0,
    )  # fmt: skip
    garage = Garage(settings, 1, 0.0)
    heat_j_per_k = 20.0 * 4_100.0 + 3 * 50.0 + 300.0 / 2
    end_c = 2.0 + 60.0 / 1.5
    for hour in range(1, 60):
        run(garage, 3_600.0, heat=True)
        expected_c = end_c + (12.0 - end_c) * exp(-hour * 3_600.0 * 1.5 / heat_j_per_k)
        assert garage.beer_c == pytest.approx(expected_c, abs=0.12)


def network(settings: GarageSettings, outside_c: float) -> tuple[np.ndarray, np.ndarray]:
    """dT/dt = A T + b of the documented network, written down a second time, linear mixing only.

    Order: core, near the pad, pad, jacket, chamber air.
    """
    beer_j = settings.volume_l * 4_100.0 + settings.vessel_j_per_k
    capacity = np.array(
        [0.9 * beer_j, 0.1 * beer_j, settings.pad_j_per_k, settings.jacket_j_per_k, 300.0]
    )
    wall, lid = 2 * settings.loss_w_per_k * 0.8, 2 * settings.loss_w_per_k * 0.2
    links = [
        (0, 1, settings.still_mixing_w_per_k),
        (1, 2, settings.pad_contact_w_per_k),
        (0, 3, wall * 0.825),
        (1, 3, wall * 0.1),
        (2, 3, wall * 0.075),
        (0, 4, lid),
    ]
    exchange, drive = np.zeros((5, 5)), np.zeros(5)
    for one, other, conductance in links:
        exchange[one, one] -= conductance
        exchange[other, other] -= conductance
        exchange[one, other] += conductance
        exchange[other, one] += conductance
    for node, conductance in ((3, wall), (4, lid)):
        exchange[node, node] -= conductance
        drive[node] += conductance * outside_c
    drive[2] += settings.pad_w
    return exchange / capacity[:, None], drive / capacity


@pytest.mark.parametrize("jacket", JACKETS)
def test_the_linear_garage_follows_the_matrix_exponential(jacket: str) -> None:
    settings = GarageSettings.jacketed(
        jacket, still_mixing_w_per_k=60.0, buoyant_mixing_w=0.0, stirring_per_w=0.0,
        weather=still_air(3.0), ferment=WATER, start_c=15.0,
    )  # fmt: skip
    garage = Garage(settings, 1, 0.0)
    matrix, drive = network(settings, 3.0)
    steady_c = -np.linalg.solve(matrix, drive)
    for hour in (1, 2, 3, 4, 6, 9):
        while garage.pad_j < hour * 3_600.0 * settings.pad_w - 1.0:
            run(garage, 600.0, heat=True)
        exact_c = steady_c + expm(matrix * hour * 3_600.0) @ (15.0 - steady_c)
        simulated_c = (garage.beer_c, garage.near_c, garage.pad_c, garage.jacket_c, garage.air_c)
        assert simulated_c == pytest.approx(exact_c, abs=0.02)


def test_the_step_hardly_matters() -> None:
    ends = []
    for dt_s in (1.0, 5.0, 10.0, 60.0):
        garage = Garage(GarageSettings(weather=still_air(4.0), start_c=20.0), 1, 0.0)
        for _ in range(6):
            run(garage, 7_200.0, heat=True, dt_s=dt_s)
            run(garage, 7_200.0, heat=False, fan=True, dt_s=dt_s)
        ends.append(garage.beer_c)
    assert max(ends) - min(ends) < 0.02


def test_a_seed_makes_one_garage_and_another_seed_another() -> None:
    trails = []
    for seed in (1, 1, 2):
        garage = Garage(GarageSettings(), seed, 0.0)
        trail = []
        for tick in range(500):
            garage.step(60.0, tick % 3 == 0, False, 60.0 * (tick + 1))
            trail.append((garage.beer_c, garage.garage_c))
        trails.append(trail)
    assert trails[0] == trails[1]
    assert trails[0] != trails[2]


def test_the_fan_cools_in_a_cold_garage_and_warms_in_a_hot_one() -> None:
    changes = []
    for mean_c in (5.0, 35.0):
        ends = []
        for fan in (False, True):
            settings = GarageSettings(weather=still_air(mean_c), ferment=WATER, start_c=20.0)
            garage = Garage(settings, 1, 0.0)
            run(garage, 4 * 3_600.0, heat=False, fan=fan)
            ends.append(garage.beer_c)
        changes.append(ends[1] - ends[0])
    assert changes[0] < -2.0
    assert changes[1] > 2.0


def test_the_fan_adds_its_conductance_to_the_loss() -> None:
    settings = GarageSettings(weather=still_air(0.0), ferment=WATER, start_c=30.0)
    garage = Garage(settings, 1, 0.0)
    run(garage, 3_600.0, heat=False, fan=True)
    before_j, beer_c = garage.lost_j, garage.beer_c
    run(garage, 60.0, heat=False, fan=True)
    lost_w = (garage.lost_j - before_j) / 60.0
    assert lost_w == pytest.approx((0.85 + 2.5) * beer_c, rel=0.03)


def test_an_open_jacket_loses_three_times_as_much() -> None:
    rates = []
    for factor in (1.0, 3.0):
        settings = GarageSettings(weather=still_air(0.0), ferment=WATER, start_c=35.0)
        garage = Garage(settings, 1, 0.0)
        garage.disturb(Disturbance(loss_factor=factor))
        run(garage, 7_200.0, heat=False)
        before_j, beer_c = garage.lost_j, garage.beer_c
        run(garage, 600.0, heat=False)
        rates.append((garage.lost_j - before_j) / beer_c)
    assert rates[1] / rates[0] == pytest.approx(3.0, rel=0.05)


def test_an_unplugged_pad_heats_nothing_and_uses_nothing() -> None:
    garage = Garage(GarageSettings(weather=still_air(5.0), ferment=WATER), 1, 0.0)
    garage.disturb(Disturbance(pad_factor=0.0))
    run(garage, 3_600.0, heat=True)
    assert garage.beer_c == pytest.approx(5.0)
    assert garage.energy_used_j == 0.0


def test_layered_beer_has_a_steeper_gradient() -> None:
    gradients = []
    for mixing_factor in (1.0, 0.0):
        garage = Garage(GarageSettings(weather=still_air(5.0), ferment=WATER, start_c=30.0), 1, 0.0)
        garage.disturb(Disturbance(mixing_factor=mixing_factor))
        run(garage, 7_200.0, heat=True)
        gradients.append(garage.near_c - garage.beer_c)
    assert gradients[1] > 3.0 * gradients[0]


@pytest.mark.parametrize("pad_w", [10.0, 60.0, 300.0])
def test_the_gradient_obeys_the_cube_root_law_of_buoyant_exchange(pad_w: float) -> None:
    """On a steady ramp the core's nine tenths of the power cross: 12 d + 45 d^(4/3) = 0.9 P."""
    settings = GarageSettings(
        pad_w=pad_w, loss_w_per_k=0.05, weather=still_air(20.0), ferment=WATER
    )  # fmt: skip
    garage = Garage(settings, 1, 0.0)
    run(garage, 7_200.0, heat=True)
    gradient_k = garage.near_c - garage.beer_c
    crossing_w = 12.0 * gradient_k + 45.0 * gradient_k ** (4 / 3)
    assert crossing_w == pytest.approx(0.9 * pad_w, rel=0.03)


def test_a_beer_probe_on_the_pad_follows_the_pad() -> None:
    garage = Garage(GarageSettings(weather=still_air(5.0), ferment=WATER, start_c=30.0), 1, 0.0)
    garage.disturb(Disturbance(seat=ProbeSeat.PAD))
    run(garage, 1_800.0, heat=True)
    assert garage.beer_probe_c == pytest.approx(garage.pad_c, abs=0.5)
    assert garage.beer_probe_c > garage.beer_c + 10.0


def test_something_else_warms_the_garage_in_its_own_time() -> None:
    garage = Garage(GarageSettings(weather=still_air(5.0), ferment=WATER), 1, 0.0)
    garage.disturb(Disturbance(garage_rise_k=12.0))
    run(garage, 1_800.0, heat=False)
    assert garage.garage_c == pytest.approx(5.0 + 12.0 * (1.0 - exp(-1.0)), abs=0.1)
    garage.disturb(Disturbance())
    run(garage, 6 * 1_800.0, heat=False)
    assert garage.garage_c == pytest.approx(5.0, abs=0.1)


def test_a_thermal_cut_out_holds_a_peeling_pad_and_closes_again() -> None:
    settings = GarageSettings(
        pad_w=100.0, pad_contact_w_per_k=0.6, cutout_c=70.0, weather=still_air(5.0),
        ferment=WATER, start_c=35.0,
    )  # fmt: skip
    garage = Garage(settings, 1, 0.0)
    pad_c, heated = [], []
    for _ in range(2_000):
        before_j = garage.pad_j
        garage.step(10.0, True, False, 0.0)
        pad_c.append(garage.pad_c)
        heated.append(garage.pad_j > before_j)
    assert max(pad_c) < 72.0
    assert sum(now and not before for before, now in pairwise(heated)) >= 3
    bare = Garage(replace(settings, cutout_c=None), 1, 0.0)
    run(bare, 20_000.0, heat=True)
    assert bare.pad_c > 120.0


@pytest.mark.parametrize("volume_l", [0.5, 500.0])
@pytest.mark.parametrize("loss_w_per_k", [0.05, 20.0])
@pytest.mark.parametrize("contact_w_per_k", [0.1, 100.0])
def test_the_steps_stay_stable_at_the_bounds(
    volume_l: float, loss_w_per_k: float, contact_w_per_k: float
) -> None:
    """Full heat on still air: every node climbs and none ever falls, as none can."""
    settings = GarageSettings(
        volume_l=volume_l, loss_w_per_k=loss_w_per_k, pad_contact_w_per_k=contact_w_per_k,
        pad_w=200.0, jacket_j_per_k=50.0, vessel_j_per_k=50.0, pad_j_per_k=50.0,
        weather=still_air(5.0), ferment=WATER,
    )  # fmt: skip
    garage = Garage(settings, 1, 0.0)
    for _ in range(300):
        before_c = (garage.beer_c, garage.near_c, garage.pad_c, garage.jacket_c, garage.air_c)
        garage.step(60.0, True, False, 0.0)
        after_c = (garage.beer_c, garage.near_c, garage.pad_c, garage.jacket_c, garage.air_c)
        assert all(now >= then - 1e-9 for then, now in zip(before_c, after_c, strict=True))
    balance = garage.energy_balance()
    assert abs(balance.residual_j) < 1e-6 * balance.pad_j


def test_a_garage_that_cannot_be_names_the_field_and_its_bounds() -> None:
    with pytest.raises(SettingsError, match=r"volume_l = 0\.1.*between 0\.5 and 500"):
        GarageSettings(volume_l=0.1)
    with pytest.raises(SettingsError, match="good, thin, bare"):
        GarageSettings.jacketed("woolly")
