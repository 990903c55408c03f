"""Stop: drives the relay lines off and nothing else; the service's last step after every end.

It must work when nothing else does: it reads no settings and imports no library but the one that
drives the pins, so that a broken setting or a half-finished upgrade cannot keep a pad hot. It knows
the lines from what the chambers noted when they started, or is told them.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from controller.edge.clock import SystemClock
from controller.edge.pins import ClaimedPin, all_off, lgpio_drive, noted_pins
from controller.errors import BarmkeepError, WiringError

PINS_FOLDER = Path("/run/barmkeep")
OFF_PAUSE_S = 0.2  # Why: 120 tries then outlast the longest stuck read of the 1-Wire bus.


def turn_off(
    gpios: tuple[int, ...], active_low: bool, chamber: str | None, wait: Callable[[], None]
) -> tuple[ClaimedPin, ...]:
    """Drives every relay line to off, with or without settings.

    Args:
        gpios: the lines; empty for those the chambers noted when they started.
        active_low: whether a low level means on, for `gpios`.
        chamber: only this chamber's noted lines; None for all.
        wait: pauses between two tries.

    Returns:
        the lines now off.

    Raises:
        WiringError: there is no line to turn off, or one could not be.
    """
    pins = tuple(ClaimedPin(gpio, not active_low) for gpio in gpios)
    pins = pins or noted_pins(PINS_FOLDER, chamber)
    if not pins:
        whose = "No chamber" if chamber is None else f"No chamber called {chamber}"
        raise WiringError(
            f"{whose} has noted its relay lines in {PINS_FOLDER} since this machine started.",
            "If a relay is on all the same, name its line: barmkeep off --gpio 17 --gpio 27.",
        )
    left = all_off(pins, lgpio_drive(), wait)
    if left:
        names = ", ".join(str(pin.gpio) for pin in left)
        raise WiringError(
            f"GPIO {names} could not be turned off: something still holds it.",
            "Unplug the heat pad now.",
        )
    return pins


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What may be said to it on a command line."""
    parser.add_argument("--gpio", type=int, action="append", default=[], help="a line (repeatable)")
    parser.add_argument(
        "--active-low", action="store_true", help="for --gpio: a low level means on"
    )
    parser.add_argument("--chamber", help="only the lines this chamber noted when it started")


def stop(options: argparse.Namespace) -> int:
    """Turns off what the command line names, and says so.

    Raises:
        WiringError: there is no line to turn off, or one could not be.
    """
    clock = SystemClock()

    def wait() -> None:
        clock.sleep_until(clock.now().mono_s + OFF_PAUSE_S)

    pins = turn_off(tuple(options.gpio), options.active_low, options.chamber, wait)
    print("Off: " + ", ".join(f"GPIO {pin.gpio}" for pin in pins))
    return 0


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs it by itself. Its exit code: 0, or 2 when a person must act."""
    parser = argparse.ArgumentParser(description="Drives the relay lines off.")
    add_arguments(parser)
    try:
        return stop(parser.parse_args(arguments))
    except BarmkeepError as error:
        print(f"{error.what}\n{error.remedy}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
