"""Simulated temperature probes: real `w1_slave` files in a folder of their own.

What the controller's probe reader opens here is what the kernel would show for a DS18B20 on the
bus, healthy or not, byte by byte. It knows temperatures and files; it decides nothing.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from math import floor
from pathlib import Path
from random import Random

from controller.decision.vocabulary import Role
from controller.errors import WiringError

# Source: DS18B20 data sheet: 1/16 K a count at 12 bits; -55 to +125 °C.
_COUNTS_PER_K, _COUNTS_MIN, _COUNTS_MAX = 16, -880, 2000
# Source: DS18B20 data sheet: alarm bytes as delivered, 12 bits, reserved FF and 10h.
_HIGH_ALARM, _LOW_ALARM, _CONFIG_12_BIT, _RESERVED_5, _RESERVED_7 = 0x4B, 0x46, 0x7F, 0xFF, 0x10
# Source: public logs of genuine parts: reserved byte 6 is 10h less the low nibble of byte 0 once
# a conversion has taken place, and 0Ch before the first.
_RESERVED_6_BEFORE, _RESERVED_6_AFTER = 0x0C, 0x10
_POWER_ON_COUNTS, _UNPOWERED_COUNTS = 0x0550, 0x07FF  # Source: data sheet, and field reports.
_CRC_POLYNOMIAL = 0x8C  # Source: Maxim application note 27: x^8 + x^5 + x^4 + 1, reflected.
_NO_INPUT_OUTPUT = Path("/proc/self/mem")  # Why: reading its first byte fails with EIO on Linux.
_SHARED_MEMORY = Path("/dev/shm")  # noqa: S108 - Why: no disk is worn; a private folder inside.
_ROM_ID = re.compile(r"28-[0-9a-f]{12}")


class BusFault(Enum):
    """What may be wrong with a probe, as its reader sees it."""

    MISSING = "the probe is not on the bus: its folder is gone"
    EMPTY = "an empty file, which is what current kernels give when a read fails"
    NO = "the first line ends in NO, which is what old kernels give when a read fails"
    GARBLED = "a wrong byte although the line ends in YES"
    POWER_ON = "85 °C, the value before any conversion"
    UNPOWERED = "127.9375 °C, the value of a conversion without enough power"
    SHORTED = "nine zero bytes, which pass the checksum: the data line is shorted"
    TORN = "only the first line"
    FROZEN = "the last value for ever"
    HANGING = "the read never comes back"
    EIO = "the read fails with an input/output error"


@dataclass(frozen=True, slots=True)
class SimulatedProbe:
    """One probe. `rom_id` empty: one is made from the seed. Noise is a standard deviation."""

    role: Role
    rom_id: str = ""
    offset_k: float = 0.0
    noise_k: float = 0.02


def counts_of(true_c: float) -> int:
    """The nearest count of a DS18B20 at 12 bits, halves upward, within its range."""
    counts = floor(true_c * _COUNTS_PER_K + 0.5)
    return min(max(counts, _COUNTS_MIN), _COUNTS_MAX)


def checksum(octets: bytes) -> int:
    """The 1-Wire CRC-8 of these bytes."""
    crc = 0
    for octet in octets:
        crc ^= octet
        for _ in range(8):
            crc = (crc >> 1) ^ _CRC_POLYNOMIAL if crc & 1 else crc >> 1
    return crc


def scratchpad(counts: int, converted: bool = True) -> bytes:
    """The nine bytes a DS18B20 sends for this count (-32768 to 32767)."""
    low, high = counts & 0xFF, (counts >> 8) & 0xFF
    reserved = _RESERVED_6_AFTER - (low & 0x0F) if converted else _RESERVED_6_BEFORE
    octets = bytes(
        (low, high, _HIGH_ALARM, _LOW_ALARM, _CONFIG_12_BIT, _RESERVED_5, reserved, _RESERVED_7)
    )
    return octets + bytes((checksum(octets),))


def slave_text(octets: bytes, verdict: str = "YES") -> bytes:
    """The two lines the kernel's w1_therm driver prints for nine bytes."""
    shown = octets.hex(" ")
    counts = int.from_bytes(octets[:2], "little", signed=True)
    # The kernel divides as C does: towards zero.
    milli_c = abs(counts) * 1000 // _COUNTS_PER_K * (-1 if counts < 0 else 1)
    return f"{shown} : crc={octets[8]:02x} {verdict}\n{shown} t={milli_c}\n".encode("ascii")


def faulty_text(fault: BusFault, counts: int) -> bytes:
    """What the file holds under a fault that leaves a file; `counts` is the true reading."""
    octets = scratchpad(counts)
    if fault is BusFault.EMPTY:
        return b""
    if fault is BusFault.NO:
        return slave_text(octets[:8] + bytes((octets[8] ^ 0x5A,)), "NO")
    if fault is BusFault.GARBLED:
        return slave_text(bytes((octets[0] ^ 0x10,)) + octets[1:])
    if fault is BusFault.POWER_ON:
        return slave_text(scratchpad(_POWER_ON_COUNTS, converted=False))
    if fault is BusFault.UNPOWERED:
        return slave_text(scratchpad(_UNPOWERED_COUNTS, converted=False))
    if fault is BusFault.SHORTED:
        return slave_text(bytes(9))
    assert fault is BusFault.TORN, fault
    return slave_text(octets).splitlines(keepends=True)[0]


class _Probe:
    """One probe's settings, its file and what stands in it."""

    __slots__ = (
        "counts",
        "descriptor",
        "drift_k",
        "fault",
        "folder",
        "forced_c",
        "noise_k",
        "offset_k",
        "path",
        "rom_id",
        "text",
    )

    def __init__(self, settings: SimulatedProbe, rom_id: str, devices: Path) -> None:
        self.rom_id = rom_id
        self.folder = devices / rom_id
        self.path = self.folder / "w1_slave"
        self.offset_k = settings.offset_k
        self.noise_k = settings.noise_k
        self.drift_k = 0.0
        self.forced_c: float | None = None
        self.fault: BusFault | None = None
        self.counts: int | None = None
        self.text: bytes | None = None
        self.descriptor = -1


class OneWireBus:
    """The folder the kernel would show, with one probe per role.

    `folder` is what to give to the probe reader as its base folder. Use as a context manager, or
    call `close`.

    Raises:
        WiringError: a ROM id is not one of a DS18B20, or two probes share one.
    """

    def __init__(self, probes: Sequence[SimulatedProbe], seed: int) -> None:
        rom_ids = [_rom_id(probe, seed) for probe in probes]
        if len(set(rom_ids)) < len(rom_ids):
            raise WiringError(
                f"Two simulated probes share a ROM id: {', '.join(rom_ids)}.",
                "Give every probe its own.",
            )
        parent = _SHARED_MEMORY if os.access(_SHARED_MEMORY, os.W_OK) else None
        self._home = Path(tempfile.mkdtemp(prefix="barmkeep-garage-", dir=parent))
        self.folder = self._home / "devices"
        self._draft = self._home / "draft"
        (self.folder / "w1_bus_master1").mkdir(parents=True)
        self._gauss = Random(f"probes {seed}").gauss  # noqa: S311 - repeatable on purpose
        self._good_text: dict[int, bytes] = {}  # at most one entry per count of the range
        self._probes = {
            probe.role: _Probe(probe, rom_id, self.folder)
            for probe, rom_id in zip(probes, rom_ids, strict=True)
        }

    def __enter__(self) -> OneWireBus:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let every waiting reader go and remove the folder."""
        for probe in self._probes.values():
            self._clear_place(probe)
        shutil.rmtree(self._home, ignore_errors=True)

    def rom_id(self, role: Role) -> str:
        """The ROM id of this role's probe: `28-` and twelve hexadecimal digits."""
        return self._probes[role].rom_id

    def set_fault(self, role: Role, fault: BusFault | None) -> None:
        """Break one probe, or mend it. It shows at the next `feel`."""
        probe = self._probes.get(role)
        if probe is None or probe.fault is fault:
            return
        if fault is not BusFault.FROZEN or probe.fault is not None:
            probe.counts = None
        self._clear_place(probe)
        probe.fault = fault

    def set_error(self, role: Role, drift_k: float, forced_c: float | None) -> None:
        """Let a probe be off by `drift_k`, or show `forced_c` whatever it feels."""
        probe = self._probes.get(role)
        if probe is not None:
            probe.drift_k, probe.forced_c = drift_k, forced_c

    def feel(self, role: Role, true_c: float) -> None:
        """Convert once: the file then holds what the probe makes of this temperature."""
        probe = self._probes[role]
        felt_c = true_c + probe.offset_k + probe.drift_k + self._gauss(0.0, probe.noise_k)
        counts = floor(felt_c * _COUNTS_PER_K + 0.5)
        if probe.forced_c is not None:
            counts = floor(probe.forced_c * _COUNTS_PER_K + 0.5)
        elif not _COUNTS_MIN <= counts <= _COUNTS_MAX:
            counts = counts_of(felt_c)
        if counts == probe.counts:
            return
        if probe.fault is None:
            probe.counts = counts
            text = self._good_text.get(counts)
            if text is None:
                text = self._good_text[counts] = slave_text(scratchpad(counts))
            self._write(probe, text)
        else:
            self._misbehave(probe, probe.fault, counts)

    def _misbehave(self, probe: _Probe, fault: BusFault, counts: int) -> None:
        """Show a fault in place of this count."""
        if fault is BusFault.FROZEN:
            frozen = counts if probe.counts is None else probe.counts
            probe.counts = frozen
            self._write(probe, slave_text(scratchpad(frozen)))
            return
        probe.counts = counts
        if fault is BusFault.MISSING:
            shutil.rmtree(probe.folder, ignore_errors=True)
        elif fault is BusFault.HANGING:
            if not probe.path.is_fifo():
                probe.folder.mkdir(exist_ok=True)
                os.mkfifo(self._draft)
                self._draft.replace(probe.path)
        elif fault is BusFault.EIO:
            if not probe.path.is_symlink():
                probe.folder.mkdir(exist_ok=True)
                self._draft.symlink_to(_NO_INPUT_OUTPUT)
                self._draft.replace(probe.path)
        else:
            self._write(probe, faulty_text(fault, counts))

    def _write(self, probe: _Probe, text: bytes) -> None:
        """Replace the file's text at one stroke.

        A text of the same length is written over the old one by one call on an open file; any
        other is put beside it and moved in its place. A reader meets the old or the new one.
        """
        if text == probe.text:
            return
        if probe.text is not None and len(text) == len(probe.text):
            os.pwrite(probe.descriptor, text, 0)
        else:
            self._clear_place(probe)
            probe.folder.mkdir(exist_ok=True)
            self._draft.write_bytes(text)
            self._draft.replace(probe.path)
            probe.descriptor = os.open(probe.path, os.O_WRONLY)
        probe.text = text

    def _clear_place(self, probe: _Probe) -> None:
        """Let go of the open file; remove what is no plain file, and free a reader held by it."""
        if probe.descriptor >= 0:
            os.close(probe.descriptor)
            probe.descriptor = -1
        probe.text = None
        if probe.path.is_fifo():
            # Held open for writing while its name goes: whoever waits is let go, none can follow.
            release = os.open(probe.path, os.O_RDWR | os.O_NONBLOCK)
            probe.path.unlink()
            os.close(release)
        elif probe.path.is_symlink():
            probe.path.unlink()


def _rom_id(probe: SimulatedProbe, seed: int) -> str:
    """The probe's own ROM id, or one made from the seed."""
    if not probe.rom_id:
        draw = Random(f"rom {seed} {probe.role.value}")  # noqa: S311 - repeatable on purpose
        return f"28-0000{draw.getrandbits(32):08x}"
    if not _ROM_ID.fullmatch(probe.rom_id):
        raise WiringError(
            f"{probe.rom_id!r} is not the ROM id of a DS18B20.",
            "It is written 28- and twelve hexadecimal digits in lower case.",
        )
    return probe.rom_id
