"""The temperature probes: DS18B20 on the kernel's 1-Wire bus, one file each.

The library reads and converts; we check the nine raw bytes again, because it takes a frame whose
checksum is wrong but which says YES, 127.9375 and -109.9375 for good values. Every trouble becomes
a Fault, never an exception. A probe is bound by its ROM id only, never by its place on the bus.
Whether a value is plausible is decided in decision/plausibility.py, not here.
"""

from __future__ import annotations

import io
import os
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Protocol

from controller.bounded import setting
from controller.decision.vocabulary import Fault, Reading, Role
from controller.edge.calibration import Calibration
from controller.edge.clock import Clock
from controller.errors import SettingsError

# Why: without it the import itself runs modprobe, waits a second and raises off a Pi; the boot
# overlay has loaded the modules long before this unprivileged service starts.
os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"

from w1thermsensor import (
    NoSensorFoundError,
    ResetValueError,
    Sensor,
    SensorNotReadyError,
    W1ThermSensor,
)

OFFSET_K_MAX = 3.0  # Why: a probe further out than 3 K is broken (data sheet: 0.5 K), not offset.
ROM_ID = re.compile(r"28-[0-9a-f]{12}")  # Source: kernel docs, w1_therm; family 28 is DS18B20.
_PHANTOM_PREFIX = "00-"  # Why: a search that reads zeros finds family 00, whose checksum is valid.
_FRAME_BYTES = 9  # Source: DS18B20 data sheet, scratchpad; the ninth is the checksum.
_FRAME_CHARACTERS = 3 * _FRAME_BYTES - 1  # Why: two hex digits each, a space between.
_CONFIG_BYTES = frozenset((0x1F, 0x3F, 0x5F, 0x7F))  # Source: data sheet, 9 to 12 bit.
_BYTE_7 = 0x10  # Source: DS18B20 data sheet, reserved byte 7 reads 10h.
# Source: data sheet: 0550h (85.000) is the power-on value, 07FFh (127.9375) too little power.
_NOT_CONVERTED = frozenset((0x0550, 0x07FF))
_READ_BYTES_MAX = 512  # Why: a healthy file is 75 bytes; one read is one conversion on the bus.


@dataclass(frozen=True, slots=True)
class ProbeSettings:
    """Which probe measures what.

    Raises:
        SettingsError: an id is not a DS18B20's, two roles name the same probe, or half of a second
            point is given.
    """

    beer: str = setting("ROM id of the probe in the beer's thermowell, 28- and 12 hex digits")
    garage: str | None = setting("ROM id of the probe in the garage's air", default=None)
    air: str | None = setting("ROM id of the probe inside the jacket", default=None)
    pad: str | None = setting("ROM id of the probe on the heat pad", default=None)
    beer_offset_k: float = setting(
        "added to what the beer probe says", unit="K", default=0.0, low=-3.0, high=OFFSET_K_MAX
    )
    garage_offset_k: float = setting(
        "added to what the garage probe says", unit="K", default=0.0, low=-3.0, high=OFFSET_K_MAX
    )
    air_offset_k: float = setting(
        "added to what the jacket's probe says", unit="K", default=0.0, low=-3.0, high=OFFSET_K_MAX
    )
    pad_offset_k: float = setting(
        "added to what the pad probe says", unit="K", default=0.0, low=-3.0, high=OFFSET_K_MAX
    )
    beer_second_c: float | None = setting(
        "true temperature of a second, warm point at which the beer probe was compared",
        unit="°C",
        default=None,
        low=15.0,
        high=60.0,
    )
    beer_second_offset_k: float | None = setting(
        "added to what the beer probe says there; beer_offset_k is then the one in ice water",
        unit="K",
        default=None,
        low=-3.0,
        high=OFFSET_K_MAX,
    )
    folder: str = setting("where the kernel shows the bus", default="/sys/bus/w1/devices")

    def __post_init__(self) -> None:
        roms = self.fitted()
        for role, rom in roms.items():
            if not ROM_ID.fullmatch(rom):
                raise SettingsError(
                    f"{role}: {rom!r} is not the ROM id of a DS18B20.",
                    "Copy it from `barmkeep check`: 28- and 12 hex digits, small letters.",
                )
        if len(set(roms.values())) < len(roms):
            raise SettingsError(
                "two roles name the same probe.", "Give every role a probe of its own."
            )
        if (self.beer_second_c is None) != (self.beer_second_offset_k is None):
            raise SettingsError(
                "beer_second_c and beer_second_offset_k belong together.", "Give both or neither."
            )

    def fitted(self) -> dict[Role, str]:
        """The ROM id of every role that has a probe, beer first."""
        roms = {role: getattr(self, role.value) for role in Role}
        return {role: rom for role, rom in roms.items() if rom is not None}

    def offset_k(self, role: Role) -> float:
        """What is added to the raw reading of this role, in K."""
        return float(getattr(self, f"{role.value}_offset_k"))

    def calibration(self, role: Role) -> Calibration:
        """How a raw reading of this role is corrected."""
        offset_k = self.offset_k(role)
        second_c, second_k = self.beer_second_c, self.beer_second_offset_k
        if role is not Role.BEER or second_c is None or second_k is None:
            return Calibration(offset_k)
        return Calibration(offset_k, second_c / (second_c - second_k + offset_k))


class Probes(Protocol):
    """Whatever can be asked once a tick for one reading of every fitted role."""

    def read(self) -> tuple[Reading, ...]:
        """One reading per fitted role, beer first. Never raises for trouble with a probe."""
        ...

    def close(self) -> None:
        """Give back what reading needs."""
        ...


class LocalProbes:
    """The probes read in this process. A hung bus hangs the caller: see probe_reader.py."""

    def __init__(self, settings: ProbeSettings, clock: Clock) -> None:
        self._clock = clock
        self._probes = tuple(
            (role, _Probe(Path(settings.folder), rom, settings.calibration(role)))
            for role, rom in settings.fitted().items()
        )

    def read(self) -> tuple[Reading, ...]:
        """One reading per fitted role, beer first, each dated by when its conversion began."""
        return tuple(self.read_one(role) for role, _ in self._probes)

    def read_one(self, wanted: Role) -> Reading:
        """The reading of one fitted role."""
        probe = next(probe for role, probe in self._probes if role is wanted)
        taken_mono_s = self._clock.now().mono_s
        outcome = probe.read()
        if isinstance(outcome, Fault):
            return Reading(wanted, taken_mono_s, fault=outcome)
        return Reading(wanted, taken_mono_s, value_c=outcome)

    @property
    def roles(self) -> tuple[Role, ...]:
        """The fitted roles, in the order they are read."""
        return tuple(role for role, _ in self._probes)

    def close(self) -> None:
        """Nothing is held open between two readings."""


class _BusFile:
    """Stands where the library keeps the path of a probe's file, and remembers what it read.

    The library opens the file once per reading; so the bus is asked once, we see the very bytes
    it saw, and a file that has vanished and come back is found again because it is opened by path.
    """

    def __init__(self, path: Path) -> None:
        self._path = str(path)
        self.text = ""
        self.error: OSError | None = None

    def open(self, _mode: str) -> io.StringIO:
        self.text, self.error = "", None
        try:
            opened = os.open(self._path, os.O_RDONLY | os.O_CLOEXEC)
            try:
                raw = os.read(opened, _READ_BYTES_MAX)
            finally:
                os.close(opened)
        except OSError as error:
            self.error = error
            raise
        self.text = raw.decode("ascii", errors="replace")
        return io.StringIO(self.text)


class _Probe(W1ThermSensor):  # type: ignore[misc]
    """One probe: the library's sensor on our file."""

    def __init__(self, folder: Path, rom: str, calibration: Calibration) -> None:
        super().__init__(Sensor.DS18B20, rom.removeprefix("28-"), offset=0.0)
        self._calibration = calibration
        self.sensorpath = _BusFile(folder / rom / self.SLAVE_FILE)

    def exists(self) -> bool:
        """Always: a probe that is not there yet may come, and its absence is a Fault."""
        return True

    def read(self) -> float | Fault:
        """The calibrated temperature in °C, or why there is none."""
        seen: _BusFile = self.sensorpath
        try:
            value_c = float(self.get_temperature())
        except NoSensorFoundError:
            gone = isinstance(seen.error, (FileNotFoundError, NotADirectoryError))
            return Fault.MISSING if gone else Fault.UNREADABLE
        except ResetValueError:
            return frame_fault(seen.text) or Fault.POWER_ON
        except SensorNotReadyError:
            shorted = frame_fault(seen.text) is Fault.SHORTED
            return Fault.SHORTED if shorted else Fault.UNREADABLE
        except (ValueError, IndexError):  # Why: outside the library's own family of errors.
            return Fault.GARBLED
        return frame_fault(seen.text) or self._calibration.corrected(value_c)


@lru_cache(maxsize=64)  # Why: a steady beer repeats its frame for hours.
def frame_fault(text: str) -> Fault | None:
    """What is wrong with the text of one w1_slave file; None when nothing is.

    In this order: both lines show the same nine bytes; not all zero (a shorted line reads zeros,
    whose checksum is right); the checksum; the two bytes every DS18B20 has; a conversion happened.
    """
    lines = text.split("\n")
    hexes = lines[0][:_FRAME_CHARACTERS]
    if len(lines) < 2 or lines[1][:_FRAME_CHARACTERS] != hexes:
        return Fault.GARBLED
    try:
        frame = bytes.fromhex(hexes)
    except ValueError:
        return Fault.GARBLED
    if len(frame) != _FRAME_BYTES:
        return Fault.GARBLED
    if not any(frame):
        return Fault.SHORTED
    if crc8(frame[:-1]) != frame[-1]:
        return Fault.GARBLED
    if frame[4] not in _CONFIG_BYTES or frame[7] != _BYTE_7:
        return Fault.GARBLED
    return Fault.POWER_ON if frame[0] | frame[1] << 8 in _NOT_CONVERTED else None


_CRC_POLYNOMIAL = 0x8C  # Source: Maxim AN27; x^8 + x^5 + x^4 + 1, least significant bit first.


def _crc_of_byte(byte: int) -> int:
    for _ in range(8):
        byte = byte >> 1 ^ (_CRC_POLYNOMIAL if byte & 1 else 0)
    return byte


_CRC_TABLE = tuple(_crc_of_byte(byte) for byte in range(256))


def crc8(octets: bytes) -> int:
    """The 1-Wire checksum of some bytes. Source: Maxim Application Note 27."""
    crc = 0
    for octet in octets:
        crc = _CRC_TABLE[crc ^ octet]
    return crc


@dataclass(frozen=True, slots=True)
class BusListing:
    """What the kernel shows on the bus.

    Args:
        roms: ids of DS18B20 probes, sorted.
        strangers: other 1-Wire devices.
        phantoms: ids of family 00, which no device has: the bus is shorted, floating or without
            its pull-up resistor.
    """

    roms: tuple[str, ...]
    strangers: tuple[str, ...]
    phantoms: tuple[str, ...]


def found_roms(folder: str) -> BusListing:
    """What is on the bus whose folder this is; empty when there is no such folder."""
    try:
        names = sorted(path.name for path in Path(folder).iterdir())
    except OSError:
        names = []
    slaves = [name for name in names if re.fullmatch(r"[0-9a-f]{2}-[0-9a-f]{12}", name)]
    phantoms = [name for name in slaves if name.startswith(_PHANTOM_PREFIX)]
    roms = [name for name in slaves if ROM_ID.fullmatch(name)]
    strangers = [name for name in slaves if name not in roms and name not in phantoms]
    return BusListing(tuple(roms), tuple(strangers), tuple(phantoms))
