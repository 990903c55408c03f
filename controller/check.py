"""Check: looks at everything a chamber needs, drives nothing, and says what to put right.

Every row is one thing somebody can mend. It decides nothing about the ferment.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from controller.boot_lines import CONFIG_FILES, harmful_lines, missing_lines
from controller.chamber import PIN_FACTORY, journal_folder
from controller.decision.vocabulary import Role
from controller.edge.clock import SystemClock
from controller.edge.pins import open_pin_factory
from controller.edge.probe_reader import ProbeProcess
from controller.edge.probes import found_roms
from controller.errors import BarmkeepError
from controller.settings import Settings
from controller.stop import PINS_FOLDER

BROKER_WAIT_S = 5.0  # Why: a broker in the same house answers in milliseconds.
WATCHDOG = Path("/sys/class/watchdog/watchdog0")
PERSIST_FILES = "sys/module/*/parameters/persist_gpio_outputs"


@dataclass(frozen=True, slots=True)
class Found:
    """One thing looked at. `remedy` is empty when it is as it should be."""

    name: str
    text: str
    remedy: str = ""

    @property
    def is_well(self) -> bool:
        """Whether nothing need be done."""
        return not self.remedy


def check(settings: Settings) -> Iterator[Found]:
    """Everything that was looked at, one after the other, as soon as it is known."""
    for look in (
        _boot,
        _bus,
        _probes,
        _pins,
        _persisting,
        _watchdog,
        _stop_note,
        _journal,
        _broker,
        _clock,
    ):
        yield from look(settings)


def _boot(settings: Settings) -> Iterator[Found]:
    path = next((path for path in CONFIG_FILES if path.is_file()), None)
    if path is None:
        return
    try:
        config = path.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        yield Found("boot", f"{path} cannot be read ({error.strerror})", "Check its mode.")
        return
    gpios = [pin.gpio for pin in settings.relays.claimed()] if settings.relays.active_high else []
    missing = missing_lines(config, gpios)
    for line in missing:
        yield Found("boot", f"so that {line.meaning}", f"Add the line {line.text} to {path}.")
    for line in harmful_lines(config):
        yield Found("boot", line.text, f"In {path}: {line.meaning}.")
    if not missing:
        yield Found("boot", f"{path} has the lines it needs")


def _bus(settings: Settings) -> Iterator[Found]:
    folder = settings.probes.folder
    if not Path(folder).is_dir():
        yield Found(
            "1-Wire bus",
            f"there is no {folder}",
            "Add the line dtoverlay=w1-gpio to config.txt and start the machine anew.",
        )
        return
    listing = found_roms(folder)
    if listing.phantoms:
        yield Found(
            "1-Wire bus",
            f"phantom devices ({', '.join(listing.phantoms)})",
            "The data line is shorted, floating or has no pull-up: check the 4.7 kΩ resistor.",
        )
    named = set(settings.probes.fitted().values())
    spare = [rom for rom in listing.roms if rom not in named]
    if spare:
        yield Found("1-Wire bus", f"probes without a role: {', '.join(spare)}")
    if not listing.phantoms:
        yield Found("1-Wire bus", f"{len(listing.roms)} probes")


def _probes(settings: Settings) -> Iterator[Found]:
    clock = SystemClock()
    probes = ProbeProcess(settings.probes, clock)
    try:
        readings = probes.read()
    finally:
        probes.close()
        clock.close()
    for reading in readings:
        rom = settings.probes.fitted()[reading.role]
        name = f"{reading.role.value} probe {rom}"
        if reading.value_c is not None:
            offset_k = settings.probes.offset_k(reading.role)
            yield Found(name, f"{reading.value_c:.2f} °C (calibration {offset_k:+.2f} K)")
        else:
            yield Found(name, str(reading.fault), _probe_remedy(reading.role))


def _probe_remedy(role: Role) -> str:
    return (
        f"Check its plug and its id in probes.{role.value}; the ids on the bus are listed above "
        "or in the folder of the bus."
    )


def _pins(settings: Settings) -> Iterator[Found]:
    try:
        factory = open_pin_factory(PIN_FACTORY)
    except BarmkeepError as error:
        yield Found("pins", error.what, error.remedy)
        return
    factory.close()
    used = ", ".join(f"GPIO {pin.gpio}" for pin in settings.relays.claimed())
    yield Found("pins", f"the chip opens; {used} will be used, and was not touched")
    if not settings.relays.active_high:
        yield Found(
            "pins",
            "the relays are active-low, so they blink on when a line is claimed",
            "Prefer a board that switches on with a high level.",
        )


def _persisting(_: Settings) -> Iterator[Found]:
    for path in sorted(Path("/").glob(PERSIST_FILES)):
        try:
            word = path.read_text(encoding="ascii").strip()
        except (OSError, UnicodeDecodeError):
            continue
        if word in ("Y", "1"):
            yield Found(
                "kernel",
                "a line keeps its level when the program that drove it dies",
                "Add the line dtparam=strict_gpiod to config.txt and start the machine anew.",
            )
        else:
            yield Found("kernel", "a line goes off when the program that drove it dies")


def _watchdog(_: Settings) -> Iterator[Found]:
    try:
        state = (WATCHDOG / "state").read_text(encoding="ascii").strip()
        timeout_s = (WATCHDOG / "timeout").read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        state, timeout_s = "absent", ""
    if state == "active":
        yield Found("watchdog", f"a frozen machine is reset after {timeout_s} s")
    else:
        yield Found(
            "watchdog",
            f"nothing resets a frozen machine ({state})",
            "Install systemd/watchdog.conf (the installer does) and start the machine anew.",
        )


def _stop_note(_: Settings) -> Iterator[Found]:
    folder = PINS_FOLDER if PINS_FOLDER.exists() else PINS_FOLDER.parent
    if os.access(folder, os.W_OK):
        yield Found("stop note", f"{PINS_FOLDER} can be written")
    else:
        yield Found(
            "stop note",
            f"{PINS_FOLDER} cannot be written",
            f"Create {PINS_FOLDER} and give it to this user; the service does so by itself.",
        )


def _journal(settings: Settings) -> Iterator[Found]:
    folder = journal_folder(settings)
    existing = next((each for each in (folder, *folder.parents) if each.exists()), folder)
    if not os.access(existing, os.W_OK):
        yield Found("journal", f"{folder} cannot be written", "Create it and give it to this user.")
        return
    disk = os.statvfs(existing)
    free_mb = disk.f_bavail * disk.f_frsize / 1e6
    needed_mb = settings.journal.size_mb_max
    if free_mb < needed_mb:
        yield Found(
            "journal",
            f"{free_mb:.0f} MB free in {existing}, and it may grow to {needed_mb} MB",
            "Make room, or lower journal.size_mb_max.",
        )
        return
    yield Found("journal", f"{folder}, {free_mb:.0f} MB free")


def _broker(settings: Settings) -> Iterator[Found]:
    broker = settings.broker
    if broker is None:
        yield Found("broker", "none named: the chamber runs by itself and tells nobody")
        return
    where = f"{broker.host}:{broker.port_used}"
    try:
        socket.create_connection((broker.host, broker.port_used), BROKER_WAIT_S).close()
    except OSError as error:
        yield Found(
            "broker",
            f"{where} does not answer ({error})",
            "Start the broker or correct broker.host; the chamber runs without it meanwhile.",
        )
        return
    yield Found("broker", f"{where} answers")


def _clock(_: Settings) -> Iterator[Found]:
    clock = SystemClock()
    is_set = clock.now().synced
    clock.close()
    if is_set:
        yield Found("clock", "set from the network")
    else:
        yield Found(
            "clock",
            "not set from the network",
            "See that the machine reaches a time server; control does not depend on it.",
        )


def table(found: Iterator[Found], write: Callable[[str], object]) -> bool:
    """Writes one line for each thing, and its remedy below it; True when all is well."""
    all_well = True
    for each in found:
        write(f"{'well ' if each.is_well else 'MEND '} {each.name}: {each.text}")
        if not each.is_well:
            all_well = False
            write(f"      -> {each.remedy}")
    return all_well
