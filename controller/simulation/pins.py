"""The simulated Pi's pins: a gpiozero factory whose relay lines switch the simulated garage.

The controller's relay driver runs on it unchanged. A relay is energised only while its pin is an
output and stands at its active level: a pin that was released drives nothing. It decides nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from enum import Enum
from typing import Any

from gpiozero.pins.mock import MockFactory, MockPin

from controller.decision.vocabulary import Relay

# Why: enough for a person to see the last hour; the library would keep every change for ever.
_STATES_KEPT = 16
_BOARD_REVISION = "a02082"  # Why: a 64-bit Pi with the 40-pin header; any would do.


class PinFault(Enum):
    """What may be wrong with a relay or its line."""

    WELDED = "the contacts are welded: on whatever the line says"
    DEAD = "the relay never pulls in"
    MISREAD = "reading the line back gives the opposite of what it is"
    GROUNDED = "the line is held low by something else"


class RelayPin(MockPin):  # type: ignore[misc]  # gpiozero carries no types
    """A pin that remembers a bounded past and can be out of order."""

    fault: PinFault | None = None

    def clear_states(self) -> None:
        """Forget the past, and keep only the newest few states from now on."""
        super().clear_states()
        self.states: deque[Any] = deque(self.states, maxlen=_STATES_KEPT)

    def is_driven(self, level: bool) -> bool:
        """Whether the pin is an output and its line truly stands at this level."""
        if self._function != "output":
            return False
        line = bool(self._state) and self.fault is not PinFault.GROUNDED
        return line is level

    def _get_state(self) -> bool:
        line = bool(self._state) and self.fault is not PinFault.GROUNDED
        return not line if self.fault is PinFault.MISREAD else line


class SimulatedPins(MockFactory):  # type: ignore[misc]  # gpiozero carries no types
    """Give this to gpiozero as its pin factory, and ask it what the relays truly do.

    Args:
        relays: the GPIO (Broadcom) number of each relay's line.
        active_high: whether a high line energises a relay.

    Raises:
        gpiozero.PinInvalidPin: the board has no such number.
    """

    def __init__(self, relays: Mapping[Relay, int], active_high: bool = True) -> None:
        super().__init__(revision=_BOARD_REVISION, pin_class=RelayPin)
        self._active_high = active_high
        self._relay_pins: dict[Relay, RelayPin] = {
            relay: self.pin(number) for relay, number in relays.items()
        }

    def close(self) -> None:
        """Release every pin. The pins themselves stay, as copper does."""
        for pin in self.pins.values():
            pin.close()

    def is_energised(self, relay: Relay) -> bool:
        """Whether this relay's contacts are truly closed."""
        pin = self._relay_pins.get(relay)
        if pin is None:
            return False
        if pin.fault is None or pin.fault is PinFault.MISREAD or pin.fault is PinFault.GROUNDED:
            return pin.is_driven(self._active_high)
        return pin.fault is PinFault.WELDED

    def set_fault(self, relay: Relay, fault: PinFault | None) -> None:
        """Put one relay out of order, or in order again."""
        pin = self._relay_pins.get(relay)
        if pin is not None:
            pin.fault = fault
