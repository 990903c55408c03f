"""The simulated pins through the real gpiozero."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from gpiozero import OutputDevice, PinInvalidPin

from controller.decision.vocabulary import Relay
from controller.simulation.pins import PinFault, SimulatedPins

LINES = {Relay.HEAT: 17, Relay.FAN: 27}


@pytest.fixture
def pins() -> Iterator[SimulatedPins]:
    pins = SimulatedPins(LINES)
    yield pins
    pins.close()


def test_a_relay_follows_its_own_line_and_no_other(pins: SimulatedPins) -> None:
    heat = OutputDevice(17, pin_factory=pins)
    assert not pins.is_energised(Relay.HEAT)
    heat.on()
    assert pins.is_energised(Relay.HEAT)
    assert not pins.is_energised(Relay.FAN)
    heat.off()
    assert not pins.is_energised(Relay.HEAT)


def test_a_released_line_drives_nothing_although_its_level_stays(pins: SimulatedPins) -> None:
    heat = OutputDevice(17, pin_factory=pins)
    heat.on()
    heat.close()
    assert pins.pin(17).state == 1
    assert not pins.is_energised(Relay.HEAT)


def test_an_active_low_board_is_on_when_its_line_is_low() -> None:
    pins = SimulatedPins({Relay.HEAT: 17}, active_high=False)
    heat = OutputDevice(17, active_high=False, initial_value=False, pin_factory=pins)
    assert not pins.is_energised(Relay.HEAT)
    heat.on()
    assert pins.pin(17).state == 0
    assert pins.is_energised(Relay.HEAT)
    pins.close()
    assert not pins.is_energised(Relay.HEAT)


@pytest.mark.parametrize(
    ("fault", "on_when_off", "on_when_on", "read_when_off", "read_when_on"),
    [
        (None, False, True, 0, 1),
        (PinFault.WELDED, True, True, 0, 1),
        (PinFault.DEAD, False, False, 0, 1),
        (PinFault.MISREAD, False, True, 1, 0),
        (PinFault.GROUNDED, False, False, 0, 0),
    ],
)
def test_faults_part_what_is_from_what_was_asked_and_what_is_read(
    pins: SimulatedPins, fault: PinFault | None, on_when_off: bool, on_when_on: bool,
    read_when_off: int, read_when_on: int,
) -> None:  # fmt: skip
    heat = OutputDevice(17, pin_factory=pins)
    pins.set_fault(Relay.HEAT, fault)
    heat.off()
    assert (pins.is_energised(Relay.HEAT), heat.value) == (on_when_off, read_when_off)
    heat.on()
    assert (pins.is_energised(Relay.HEAT), heat.value) == (on_when_on, read_when_on)
    pins.set_fault(Relay.HEAT, None)
    heat.off()
    assert (pins.is_energised(Relay.HEAT), heat.value) == (False, 0)


def test_a_grounded_line_energises_an_active_low_board() -> None:
    pins = SimulatedPins({Relay.HEAT: 17}, active_high=False)
    heat = OutputDevice(17, active_high=False, initial_value=False, pin_factory=pins)
    pins.set_fault(Relay.HEAT, PinFault.GROUNDED)
    assert pins.is_energised(Relay.HEAT)
    assert heat.value == 1
    pins.close()


def test_the_past_of_a_pin_is_bounded(pins: SimulatedPins) -> None:
    heat = OutputDevice(17, pin_factory=pins)
    for _ in range(1_000):
        heat.toggle()
    assert len(pins.pin(17).states) <= 16
    pins.pin(17).clear_states()
    heat.toggle()
    assert len(pins.pin(17).states) == 2


def test_a_chamber_without_a_fan_has_no_fan_to_energise_or_break() -> None:
    pins = SimulatedPins({Relay.HEAT: 17})
    pins.set_fault(Relay.FAN, PinFault.WELDED)
    assert not pins.is_energised(Relay.FAN)


def test_a_pin_the_board_has_not_is_refused() -> None:
    with pytest.raises(PinInvalidPin):
        SimulatedPins({Relay.HEAT: 99})
