"""The simulated probes through the real w1thermsensor, which must take the files for a kernel's."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"
from w1thermsensor import (
    NoSensorFoundError,
    ResetValueError,
    Sensor,
    SensorNotReadyError,
    W1ThermSensor,
)

from controller.decision.vocabulary import Fault, Role
from controller.edge.probes import frame_fault
from controller.errors import WiringError
from controller.simulation.onewire import (
    BusFault,
    OneWireBus,
    SimulatedProbe,
    checksum,
    counts_of,
    scratchpad,
    slave_text,
)

QUIET = (SimulatedProbe(Role.BEER, noise_k=0.0), SimulatedProbe(Role.GARAGE, noise_k=0.0))


@pytest.fixture
def bus(monkeypatch: pytest.MonkeyPatch) -> Iterator[OneWireBus]:
    with OneWireBus(QUIET, seed=4) as bus:
        monkeypatch.setattr(W1ThermSensor, "BASE_DIRECTORY", bus.folder)
        bus.feel(Role.BEER, 35.0)
        bus.feel(Role.GARAGE, -12.03)
        yield bus


def sensor(bus: OneWireBus, role: Role = Role.BEER) -> W1ThermSensor:
    return W1ThermSensor(Sensor.DS18B20, bus.rom_id(role).removeprefix("28-"))


def text(bus: OneWireBus) -> str:
    return (bus.folder / bus.rom_id(Role.BEER) / "w1_slave").read_text("ascii")


def test_the_library_finds_both_probes_and_reads_them(bus: OneWireBus) -> None:
    found = {f"28-{probe.id}" for probe in W1ThermSensor.get_available_sensors()}
    assert found == {bus.rom_id(Role.BEER), bus.rom_id(Role.GARAGE)}
    assert sensor(bus).get_temperature() == 35.0
    assert sensor(bus, Role.GARAGE).get_temperature() == -12.0
    assert sensor(bus).get_resolution() == 12


@given(st.floats(-60.0, 130.0))
def test_a_reading_is_the_nearest_sixteenth_within_the_range(true_c: float) -> None:
    read_c = counts_of(true_c) / 16
    inside_c = min(max(true_c, -55.0), 125.0)
    assert abs(read_c - inside_c) <= 1 / 32


@given(st.integers(-880, 2_000))
def test_every_frame_passes_the_checks_of_the_probe_reader(counts: int) -> None:
    shown = slave_text(scratchpad(counts))
    assert checksum(scratchpad(counts)) == 0
    first, second = shown.decode().splitlines()
    assert first.endswith("YES")
    assert int(second.partition("t=")[2]) == int(counts * 1_000 / 16)
    expected = None if counts != 0x0550 else Fault.POWER_ON
    assert frame_fault(shown.decode()) is expected


def broken(error: type[Exception]) -> Callable[[W1ThermSensor], None]:
    def check(probe: W1ThermSensor) -> None:
        with pytest.raises(error):
            probe.get_temperature()

    return check


def reads(value_c: float) -> Callable[[W1ThermSensor], None]:
    def check(probe: W1ThermSensor) -> None:
        assert probe.get_temperature() == value_c

    return check


@pytest.mark.parametrize(
    ("fault", "check"),
    [
        (BusFault.MISSING, broken(NoSensorFoundError)),
        (BusFault.EMPTY, broken(SensorNotReadyError)),
        (BusFault.NO, broken(SensorNotReadyError)),
        (
            BusFault.GARBLED,
            reads(34.0),
        ),  # one bit is wrong, but the library takes it: it trusts the word YES
        (BusFault.POWER_ON, broken(ResetValueError)),
        (BusFault.UNPOWERED, reads(127.9375)),  # the library takes it
        (BusFault.SHORTED, broken(SensorNotReadyError)),
        (BusFault.TORN, broken(IndexError)),  # outside the library's own errors
        (BusFault.EIO, broken(NoSensorFoundError)),
    ],
)
def test_each_fault_meets_the_library_as_it_does_on_a_real_bus_and_is_mended(
    bus: OneWireBus, fault: BusFault, check: Callable[[W1ThermSensor], None]
) -> None:
    probe = sensor(bus)
    bus.set_fault(Role.BEER, fault)
    for true_c in (35.0, 35.0):
        bus.feel(Role.BEER, true_c)
        check(probe)
    assert sensor(bus, Role.GARAGE).get_temperature() == -12.0
    bus.set_fault(Role.BEER, None)
    bus.feel(Role.BEER, 34.5)
    assert probe.get_temperature() == 34.5


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (BusFault.GARBLED, Fault.GARBLED),
        (BusFault.POWER_ON, Fault.POWER_ON),
        (BusFault.UNPOWERED, Fault.POWER_ON),
        (BusFault.SHORTED, Fault.SHORTED),
    ],
)
def test_the_probe_reader_names_what_the_library_cannot(
    bus: OneWireBus, fault: BusFault, expected: Fault
) -> None:
    bus.set_fault(Role.BEER, fault)
    bus.feel(Role.BEER, 35.0)
    assert frame_fault(text(bus)) is expected


@pytest.mark.parametrize("before", [None, *BusFault])
@pytest.mark.parametrize("after", BusFault)
def test_any_fault_may_follow_any_other(before: BusFault | None, after: BusFault) -> None:
    with OneWireBus(QUIET, seed=4) as bus:
        for fault in (before, after, None):
            bus.set_fault(Role.BEER, fault)
            bus.feel(Role.BEER, 21.0)
            bus.feel(Role.BEER, 22.0)
        assert "t=22000" in text(bus)


def test_a_frozen_probe_keeps_its_last_value(bus: OneWireBus) -> None:
    bus.set_fault(Role.BEER, BusFault.FROZEN)
    for true_c in (36.0, 20.0, 5.0):
        bus.feel(Role.BEER, true_c)
        assert sensor(bus).get_temperature() == 35.0
    bus.set_fault(Role.BEER, None)
    bus.feel(Role.BEER, 5.0)
    assert sensor(bus).get_temperature() == 5.0


def test_a_hanging_read_comes_back_only_when_the_probe_is_mended(bus: OneWireBus) -> None:
    path = bus.folder / bus.rom_id(Role.BEER) / "w1_slave"
    bus.set_fault(Role.BEER, BusFault.HANGING)
    bus.feel(Role.BEER, 35.0)
    reader = threading.Thread(target=path.read_bytes, daemon=True)
    reader.start()
    reader.join(0.2)
    assert reader.is_alive()
    bus.set_fault(Role.BEER, None)
    reader.join(5.0)
    assert not reader.is_alive()
    bus.feel(Role.BEER, 35.0)
    assert sensor(bus).get_temperature() == 35.0


def test_closing_lets_a_hanging_reader_go_and_leaves_nothing() -> None:
    bus = OneWireBus(QUIET, seed=4)
    path = bus.folder / bus.rom_id(Role.BEER) / "w1_slave"
    bus.set_fault(Role.BEER, BusFault.HANGING)
    bus.feel(Role.BEER, 35.0)
    reader = threading.Thread(target=path.read_bytes, daemon=True)
    reader.start()
    reader.join(0.1)
    bus.close()
    reader.join(5.0)
    assert not reader.is_alive()
    assert not bus.folder.parent.exists()
    bus.close()


def test_a_reader_never_meets_half_a_text(bus: OneWireBus) -> None:
    """Lengths change at 10 °C and at 0 °C, so both ways of writing are met."""
    path = bus.folder / bus.rom_id(Role.BEER) / "w1_slave"
    torn: list[str] = []
    stop = threading.Event()

    def watch() -> None:
        while not stop.is_set():
            seen = path.read_text("ascii")
            if len(seen.splitlines()) != 2 or frame_fault(seen) is not None:
                torn.append(seen)

    reader = threading.Thread(target=watch)
    reader.start()
    for turn in range(4_000):
        bus.feel(Role.BEER, (9.5, 10.5, 9.75, 9.25, -0.5, 10.25)[turn % 6])
    stop.set()
    reader.join()
    assert torn == []


def test_a_file_is_written_only_when_its_text_changes(bus: OneWireBus) -> None:
    path = bus.folder / bus.rom_id(Role.BEER) / "w1_slave"
    os.utime(path, ns=(0, 0))
    bus.feel(Role.BEER, 35.01)
    assert path.stat().st_mtime_ns == 0
    bus.set_fault(Role.BEER, BusFault.SHORTED)
    bus.feel(Role.BEER, 35.0)
    os.utime(path, ns=(0, 0))
    bus.feel(Role.BEER, 20.0)
    assert path.stat().st_mtime_ns == 0


def test_offset_drift_and_a_forced_value_show(bus: OneWireBus) -> None:
    with OneWireBus((SimulatedProbe(Role.BEER, offset_k=0.5, noise_k=0.0),), seed=1) as other:
        other.feel(Role.BEER, 20.0)
        assert "t=20500" in text(other)
    bus.set_error(Role.BEER, drift_k=-1.0, forced_c=None)
    bus.feel(Role.BEER, 35.0)
    assert sensor(bus).get_temperature() == 34.0
    bus.set_error(Role.BEER, drift_k=0.0, forced_c=-109.9375)
    bus.feel(Role.BEER, 35.0)
    assert sensor(bus).get_temperature() == -109.9375


def test_noise_has_its_spread_and_repeats_with_its_seed() -> None:
    def readings(seed: int) -> list[str]:
        with OneWireBus((SimulatedProbe(Role.BEER, noise_k=0.05),), seed) as bus:
            seen = []
            for _ in range(300):
                bus.feel(Role.BEER, 20.03)
                seen.append(text(bus))
            return seen

    assert readings(1) == readings(1)
    assert readings(1) != readings(2)
    assert 3 <= len(set(readings(1))) <= 8


def test_rom_ids_come_from_the_seed_or_the_settings_and_are_checked(tmp_path: Path) -> None:
    with OneWireBus(QUIET, 1) as one, OneWireBus(QUIET, 1) as same, OneWireBus(QUIET, 2) as other:
        assert one.rom_id(Role.BEER) == same.rom_id(Role.BEER) != other.rom_id(Role.BEER)
        assert one.rom_id(Role.BEER).startswith("28-0000")
    given_id = SimulatedProbe(Role.BEER, rom_id="28-00000a1b2c3d")
    with OneWireBus((given_id,), 1) as bus:
        assert bus.rom_id(Role.BEER) == "28-00000a1b2c3d"
    with pytest.raises(WiringError, match="twelve hexadecimal digits"):
        OneWireBus((SimulatedProbe(Role.BEER, rom_id="28-XYZ"),), 1)
    twin = SimulatedProbe(Role.PAD, rom_id="28-00000a1b2c3d")
    with pytest.raises(WiringError, match="Give every probe its own"):
        OneWireBus((given_id, twin), 1)
