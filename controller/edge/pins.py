"""The lines of the GPIO chip: opened under one library and no other, and driven off at the stop.

Many kernels keep the last level of a line when a process dies, so something must turn it off after
every death. That is `all_off`: it needs no settings file, starts in a fraction of a second and
outlasts a line still held by a process the kernel has not let go (EBUSY). While the controller
runs, only relays.py switches.
"""

from __future__ import annotations

import logging
import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.errors import SettingsError, WiringError

OFF_TRIES = 120  # Why: at 0.2 s apart they outlast the longest stuck 1-Wire read seen (21 s).
GPIO_MAX = 27  # Source: Raspberry Pi 40-pin header, GPIO 0 to 27.
FACTORY_NAME = "lgpio"  # Why: gpiozero would silently fall back to three others.
_CHIPS_MAX = 8  # Why: a Raspberry Pi has at most five; the header's is told by its label.
_HEADER_LABEL = "pinctrl-"  # Source: kernel drivers pinctrl-bcm2835, pinctrl-bcm2711, pinctrl-rp1.
_PINS_SUFFIX = ".pins"

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ClaimedPin:
    """A line that switches something, and which level means on."""

    gpio: int
    active_high: bool = True

    @property
    def off_level(self) -> int:
        """The level that means off."""
        return 0 if self.active_high else 1


def open_pin_factory(name: str) -> Any:
    """The factory gpiozero has under that name, and no other.

    Raises:
        SettingsError: a name other than lgpio.
        WiringError: the library or the chip is missing, or may not be used. It names the remedy.
    """
    if name != FACTORY_NAME:
        raise SettingsError(
            f"The pin factory {name!r} is not one to switch mains with.", "Name lgpio."
        )
    os.environ.setdefault("LG_WD", tempfile.gettempdir())
    try:
        from gpiozero.pins.lgpio import LGPIOFactory

        factory = LGPIOFactory()
    except ImportError as error:
        raise _not_installed(error) from error
    except Exception as error:  # Why: lgpio raises bare Exceptions of its own.
        raise _explained(error) from error
    if type(factory) is not LGPIOFactory:
        raise WiringError(
            f"Asked for the pin factory lgpio, got {type(factory).__name__}.",
            "Unset GPIOZERO_PIN_FACTORY and reinstall gpiozero.",
        )
    return factory


def _not_installed(error: ImportError) -> WiringError:
    return WiringError(
        f"The library that drives the pins is missing ({error}).",
        "Install it with: pip install 'barmkeep[pi]'",
    )


def _explained(error: Exception) -> WiringError:
    if isinstance(error, FileNotFoundError) and ".lgd-nfy" in str(error):
        return WiringError(
            "The pin library may not write in its working folder.",
            "Set LG_WD to a folder this user may write, as the unit file does.",
        )
    if "Pi revision" in str(error):
        return WiringError(
            f"This machine is not a Raspberry Pi the pin library knows ({error}).",
            "Run it on a Raspberry Pi, or try `barmkeep simulate`.",
        )
    return WiringError(
        f"The GPIO chip cannot be opened ({error}).",
        "Check that /dev/gpiochip0 exists and that this user is in the group gpio.",
    )


def note_pins(folder: Path, chamber: str, pins: Sequence[ClaimedPin]) -> None:
    """Write down which lines a chamber uses, for a stop step that has no settings.

    Raises:
        OSError: the folder cannot be written.
    """
    rows = [f"{pin.gpio} {'high' if pin.active_high else 'low'}\n" for pin in pins]
    new = folder / f"{chamber}.new"
    new.write_text("".join(rows), encoding="ascii")
    new.replace(folder / (chamber + _PINS_SUFFIX))


def noted_pins(folder: Path, chamber: str | None = None) -> tuple[ClaimedPin, ...]:
    """The lines noted by one chamber, or by all; damaged rows are left out."""
    pins = []
    for path in sorted(folder.glob((chamber or "*") + _PINS_SUFFIX)):
        for row in path.read_text(encoding="ascii", errors="replace").splitlines():
            gpio, _, level = row.partition(" ")
            if gpio.isdecimal() and int(gpio) <= GPIO_MAX and level in ("high", "low"):
                pins.append(ClaimedPin(int(gpio), level == "high"))
    return tuple(pins)


def all_off(
    pins: Sequence[ClaimedPin],
    drive: Callable[[int, int], None],
    wait: Callable[[], None],
    tries: int = OFF_TRIES,
) -> tuple[ClaimedPin, ...]:
    """Drive every line to its off level, again and again while one is refused.

    Args:
        pins: the lines.
        drive: claims one line as an output at a level; raises while it cannot (`lgpio_drive`).
        wait: pauses between two rounds, some 0.2 s.
        tries: rounds at most.

    Returns:
        The lines that could not be turned off; empty when all is well.
    """
    left = tuple(pins)
    for attempt in range(tries):
        if attempt:
            wait()
        left = tuple(pin for pin in left if not _driven_off(pin, drive))
        if not left:
            break
    return left


def _driven_off(pin: ClaimedPin, drive: Callable[[int, int], None]) -> bool:
    try:
        drive(pin.gpio, pin.off_level)
    except Exception as error:  # Why: lgpio raises bare Exceptions; whatever it is, try again.
        _log.warning("GPIO %d cannot be turned off yet: %s", pin.gpio, error)
        return False
    return True


def lgpio_drive() -> Callable[[int, int], None]:
    """What claims one line of the header's chip as an output at a level, for `all_off`.

    The lines stay claimed until this process ends; the kernel then keeps or releases them.

    Raises:
        WiringError: the library or the chip is missing. It names the remedy.
    """
    os.environ.setdefault("LG_WD", tempfile.gettempdir())
    try:
        import lgpio

        chip = _header_chip(lgpio)
    except ImportError as error:
        raise _not_installed(error) from error
    except Exception as error:  # Why: lgpio raises bare Exceptions of its own.
        raise _explained(error) from error
    return lambda gpio, level: lgpio.gpio_claim_output(chip, gpio, level)


def _header_chip(lgpio: Any) -> int:
    """A handle of the chip behind the 40-pin header; its number differs between kernels."""
    for number in range(_CHIPS_MAX):
        if not Path(f"/dev/gpiochip{number}").exists():
            continue
        handle: int = lgpio.gpiochip_open(number)
        if lgpio.gpio_get_chip_info(handle)[3].startswith(_HEADER_LABEL):
            return handle
        lgpio.gpiochip_close(handle)
    raise OSError("no chip is labelled pinctrl-...")
