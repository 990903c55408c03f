"""The simulated garage and its probes against figures from outside the project.

Heat-transfer rows were computed by their author from the vertical-plate correlation of Churchill
and Chu (1975), linearised radiation and series resistances, on a vessel of 20 L 0.30 m across; they
are independent of this code but no measurement, so the tolerances are wide. The rest says what it
is.
"""

from __future__ import annotations

import pytest
from gpiozero import OutputDevice

from controller.simulation.ferment import HEAT_J_PER_KG, Ferment, FermentSettings, rate_share
from controller.simulation.garage import Garage
from controller.simulation.onewire import checksum, scratchpad, slave_text
from controller.simulation.plant import Disturbance, GarageSettings, ProbeSeat
from controller.simulation.score import Score
from controller.simulation.weather import WeatherSettings
from controller.simulation.world import Scene, World

WATER = FermentSettings(original_plato=0.0, final_plato=0.0)
BADLY_SEATED = {"pad_contact_w_per_k": 1.3, "pad_w": 100.0}


def garage(outside_c: float, start_c: float, **changes: float) -> Garage:
    weather = WeatherSettings(mean_c=outside_c, swing_k=0.0, wander_k=0.0)
    settings = GarageSettings(
        weather=weather, ferment=WATER, start_c=start_c, **changes
    )  # fmt: skip
    return Garage(settings, 1, 0.0)


def run(plant: Garage, hours: float, *, heat: bool, dt_s: float = 10.0) -> None:
    for _ in range(round(hours * 3_600.0 / dt_s)):
        plant.step(dt_s, heat, False, 0.0)


def hours_until(plant: Garage, beer_c: float) -> float:
    seconds = 0.0
    while plant.beer_c < beer_c:
        plant.step(10.0, True, False, 0.0)
        seconds += 10.0
        assert seconds < 1e6
    return seconds / 3_600.0


@pytest.mark.parametrize(
    ("loss_w_per_k", "at_minus_5_w", "at_minus_12_w"),
    [
        (3.6, 140.0, 165.0),
        (2.4, 96.0, 112.0),
        (2.0, 80.0, 94.0),
        (1.2, 47.0, 55.0),
        (0.75, 30.0, 35.0),
        (0.61, 24.0, 29.0),
        (0.38, 15.0, 18.0),
    ],
)
def test_the_power_that_holds_35_in_a_freezing_garage(
    loss_w_per_k: float, at_minus_5_w: float, at_minus_12_w: float
) -> None:
    for outside_c, pad_w in ((-5.0, at_minus_5_w), (-12.0, at_minus_12_w)):
        plant = garage(outside_c, 35.0, loss_w_per_k=loss_w_per_k, pad_w=pad_w)
        run(plant, 250.0, heat=True, dt_s=60.0)
        assert plant.beer_c - outside_c == pytest.approx(35.0 - outside_c, rel=0.08)


@pytest.mark.parametrize(
    ("contact_w_per_k", "pad_w", "rise_k"),
    [
        (4.0, 60.0, 15.0), (4.0, 100.0, 25.0), (1.3, 60.0, 46.0),
        (1.3, 100.0, 77.0), (0.6, 60.0, 100.0), (0.6, 100.0, 167.0),
    ],
)  # fmt: skip
def test_how_far_the_pad_rises_over_the_beer(
    contact_w_per_k: float, pad_w: float, rise_k: float
) -> None:
    plant = garage(5.0, 35.0, pad_contact_w_per_k=contact_w_per_k, pad_w=pad_w)
    run(plant, 1.5, heat=True)
    assert plant.pad_c - plant.beer_c == pytest.approx(rise_k, rel=0.18)


@pytest.mark.parametrize(
    ("changes", "delay_s", "slope_k_per_s"),
    [({}, 426.0, 7.0e-4), (BADLY_SEATED, 923.0, 1.17e-3), ({"volume_l": 5.0}, 351.0, 2.6e-3)],
)
def test_the_ramp_of_full_power_its_slope_and_its_apparent_delay(
    changes: dict[str, float], delay_s: float, slope_k_per_s: float
) -> None:
    plant = garage(20.0, 20.0, loss_w_per_k=0.05, **changes)
    run(plant, 1.5, heat=True)
    early_c = plant.beer_probe_c
    run(plant, 0.5, heat=True)
    slope = (plant.beer_probe_c - early_c) / 1_800.0
    assert slope == pytest.approx(slope_k_per_s, rel=0.06)
    assert 5_400.0 - (early_c - 20.0) / slope == pytest.approx(delay_s, rel=0.25)


@pytest.mark.parametrize(
    ("changes", "low_k", "high_k"),
    # Computed 0.04, 0.36 and 0.42 K, each on an unstated garage.
    [({}, 0.02, 0.15), (BADLY_SEATED, 0.25, 0.55), ({"volume_l": 5.0}, 0.15, 0.55)],
)
def test_the_coast_after_a_cut_at_the_target(
    changes: dict[str, float], low_k: float, high_k: float
) -> None:
    plant = garage(12.0, 25.0, **changes)
    hours_until(plant, 35.0)
    highest_c = 35.0
    for _ in range(400):
        plant.step(10.0, False, False, 0.0)
        highest_c = max(highest_c, plant.beer_c)
    assert low_k < highest_c - 35.0 < high_k


@pytest.mark.parametrize("pad_w", [30.0, 60.0])
def test_the_gradient_in_unstirred_wort(pad_w: float) -> None:
    plant = garage(5.0, 30.0, pad_w=pad_w)
    run(plant, 2.0, heat=True)
    assert 0.4 < plant.near_c - plant.beer_c < 1.5


@pytest.mark.parametrize(
    ("pad_w", "to_37_h", "to_40_h", "to_45_h"), [(60.0, 1.4, 3.7, 8.0), (100.0, 0.65, 1.65, 3.4)]
)
def test_how_long_a_welded_relay_takes_to_spoil_the_beer(
    pad_w: float, to_37_h: float, to_40_h: float, to_45_h: float
) -> None:
    plant = garage(5.0, 35.0, pad_w=pad_w)
    for _ in range(6 * 360):
        plant.step(10.0, plant.beer_probe_c < 35.0, False, 0.0)
    first_h = hours_until(plant, 37.0)
    second_h = first_h + hours_until(plant, 40.0)
    third_h = second_h + hours_until(plant, 45.0)
    assert (first_h, second_h, third_h) == pytest.approx((to_37_h, to_40_h, to_45_h), rel=0.15)


def test_a_probe_out_of_its_well_falls_faster_than_beer_can() -> None:
    """More than 3 K in 5 minutes, where beer loses at most 1.25 K in an hour at 35 K difference."""
    plant = garage(0.0, 35.0)
    run(plant, 2.0, heat=False)
    before_c = plant.beer_c
    run(plant, 1.0, heat=False)
    assert before_c - plant.beer_c < 1.25
    plant.disturb(Disturbance(seat=ProbeSeat.GARAGE))
    before_c = plant.beer_probe_c
    run(plant, 5.0 / 60.0, heat=False)
    assert before_c - plant.beer_probe_c > 3.0


@pytest.mark.parametrize(
    ("band_k", "rmse_k", "starts_per_h"), [(0.5, 0.32, 0.46), (0.2, 0.17, 0.83)]
)
def test_a_plain_thermostat_swings_and_switches_as_on_another_plant(
    band_k: float, rmse_k: float, starts_per_h: float
) -> None:
    """Computed by their author on an independent nonlinear plant: 35 °C held in a cold garage."""
    weather = WeatherSettings(mean_c=0.0, swing_k=5.0)
    settings = GarageSettings(weather=weather, ferment=WATER, start_c=34.0)
    with World(Scene(garage=settings)) as world:
        heat, score = OutputDevice(17, pin_factory=world.pins), Score(world)
        for _ in range(4 * 8_640):
            if world.garage.beer_probe_c < 35.0 - band_k:
                heat.on()
            elif world.garage.beer_probe_c > 35.0 + band_k:
                heat.off()
            score.tick(35.0)
            world.sleep_until(world.now().mono_s + 10.0)
        measures = score.as_dict()
    assert measures["rmse_k"] == pytest.approx(rmse_k, rel=0.2)
    assert measures["edges_per_h"] == pytest.approx(2.0 * starts_per_h, rel=0.15)


def plato(gravity_sg: float) -> float:
    """The ASBC's customary cubic from specific gravity to °P."""
    return ((135.997 * gravity_sg - 630.272) * gravity_sg + 1_111.14) * gravity_sg - 616.868


@pytest.mark.parametrize(
    ("volume_l", "original_sg", "attenuation", "heat_kj"), [(23.0, 1.0565, 0.82, 1_317.9)]
)
def test_the_whole_heat_of_a_ferment(
    volume_l: float, original_sg: float, attenuation: float, heat_kj: float
) -> None:
    """586 kJ per kg of extract: 252 BTU per lb, the usual handbook figure."""
    assert pytest.approx(252.0 * 1.055056 / 0.45359237, rel=1e-3) == HEAT_J_PER_KG / 1e3
    final_sg = 1.0 + (original_sg - 1.0) * (1.0 - attenuation)
    settings = FermentSettings(original_plato=plato(original_sg), final_plato=plato(final_sg))
    assert Ferment(settings, volume_l).total_heat_j / 1e3 == pytest.approx(heat_kj, rel=0.01)


def test_the_watts_of_a_rate() -> None:
    """0.2 °P of apparent drop in an hour, in 20 L of about 1.030, are 5.48 W at 586 kJ per kg."""
    settings = FermentSettings(original_plato=7.55, final_plato=0.0)
    ferment = Ferment(settings, 20.0)
    while ferment.share_done < 0.1:
        ferment.advance(60.0, 20.0)
    before_plato = ferment.apparent_plato
    heat_j = ferment.advance(600.0, 20.0)
    rate_plato_per_h = (before_plato - ferment.apparent_plato) * 6.0
    assert heat_j / 600.0 * 0.2 / rate_plato_per_h == pytest.approx(5.48, rel=0.01)


def test_a_hot_kveik_style_ferment_peaks_between_9_and_15_watts() -> None:
    plant = Garage(GarageSettings(start_c=37.0), 1, 0.0)
    peak_w, before_j = 0.0, 0.0
    for tick in range(4 * 8_640):
        plant.step(10.0, plant.beer_c < 37.0, False, 10.0 * tick)
        peak_w = max(peak_w, (plant.ferment_j - before_j) / 10.0)
        before_j = plant.ferment_j
    assert 9.0 < peak_w < 15.0
    assert plant.apparent_plato == pytest.approx(2.8, abs=0.05)


def test_the_cardinal_temperature_model_by_its_published_constants() -> None:
    """Rosso et al. 1993: zero at both ends, one at the optimum, and for Escherichia coli (4.9,
    41.3, 47.5 °C; constants from memory) a rate at 37 °C close below the optimum's.
    """
    coli = FermentSettings(coldest_c=4.9, best_c=41.3, hottest_c=47.5)
    assert rate_share(coli, 4.9) == rate_share(coli, 47.5) == 0.0
    assert rate_share(coli, 41.3) == pytest.approx(1.0)
    assert 0.85 < rate_share(coli, 37.0) < 0.95


@pytest.mark.parametrize(
    ("octets", "crc"),
    [
        ("02 1c b8 01 00 00 00", 0xA2),  # Maxim application note 27, worked example
        ("31 32 33 34 35 36 37 38 39", 0xA1),  # the check value of CRC-8/MAXIM-DOW
        ("28 ff 64 1e cd 49 ee", 0xF7),  # a ROM id in a public log
        ("28 0d f9 a1 05 00 00", 0x12),  # another
        ("00 00 00 00 00 00 00 00", 0x00),
    ],
)
def test_checksums_of_others(octets: str, crc: int) -> None:
    assert checksum(bytes.fromhex(octets)) == crc


@pytest.mark.parametrize(
    "line",
    # Printed by Linux for genuine parts, in public logs and tutorials.
    [
        "70 01 4b 46 7f ff 10 10 e1 t=23000",
        "73 01 4b 46 7f ff 0d 10 41 t=23187",
        "93 01 4b 46 7f ff 0d 10 32 t=25187",
        "a3 01 4b 46 7f ff 0d 10 ce t=26187",
        "b8 01 4b 46 7f ff 08 10 8a t=27500",
        "13 02 4b 46 7f ff 0d 10 e7 t=33187",
        "e6 ff 4b 46 7f ff 0a 10 84 t=-1625",
        "35 ff 4b 46 7f ff 0b 10 0a t=-12687",
    ],
)
def test_frames_as_genuine_probes_send_them(line: str) -> None:
    low, high = bytes.fromhex(line[:5])
    counts = int.from_bytes((low, high), "little", signed=True)
    crc = line[24:26]
    shown = slave_text(scratchpad(counts)).decode()
    assert shown == f"{line[:26]} : crc={crc} YES\n{line}\n"


def test_the_frame_before_the_first_conversion() -> None:
    shown = slave_text(scratchpad(0x0550, converted=False)).decode()
    assert shown.startswith("50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n")
    assert shown.endswith("t=85000\n")


@pytest.mark.parametrize(
    ("celsius", "register"),
    # DS18B20 data sheet, table of temperature and output.
    [
        (125.0, "07d0"), (85.0, "0550"), (25.0625, "0191"), (10.125, "00a2"), (0.5, "0008"),
        (0.0, "0000"), (-0.5, "fff8"), (-10.125, "ff5e"), (-25.0625, "fe6f"), (-55.0, "fc90"),
    ],
)  # fmt: skip
def test_the_register_of_the_data_sheet(celsius: float, register: str) -> None:
    octets = scratchpad(round(celsius * 16))
    assert octets[1::-1].hex() == register
