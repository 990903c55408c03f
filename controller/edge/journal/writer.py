"""Writing the journal: append only, in order, and never a reason to stop controlling.

A line is on the disk within a minute, at once when it is urgent. A disk that is full, read-only or
failing is a value (`trouble`): lines wait in memory, bounded, and are written in order once it can
be done. Nothing here decides what is worth a line or when it is delivered.
"""

from __future__ import annotations

import errno
import fcntl
import logging
import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from controller import wire
from controller.bounded import setting
from controller.decision.vocabulary import Moment
from controller.edge.journal.day_files import (
    DayFile,
    Entry,
    day_files,
    file_name,
    newest_tick_in,
    pack,
    prune,
    utc_day,
)
from controller.errors import DiskError

SYNC_S = 60.0  # Why: a minute of ticks may be lost in a power cut; a sync each tick wears the card.
WAITING_LINES_MAX = 5000  # Why: half a day of ticks, some 3 MB, while the disk cannot be written.
RECENT_LINES_MAX = 1000  # Why: more than the courier's window, so live delivery reads no file.
TIDY_S = 600.0  # Why: packing one file takes up to a second; one each ten minutes is no burden.
_LOCK_NAME = "journal.lock"
_MB = 1_000_000  # Source: SI prefix; disks are sold in it.

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class JournalSettings:
    """Where the journal is and how much of it is kept."""

    folder: str = setting("folder of the journals", default="/var/lib/barmkeep")
    keep_days: int = setting(
        "how long a day's lines are kept", unit="days", default=400, low=1, high=3650
    )
    size_mb_max: int = setting(
        "how big the journal may grow", unit="MB", default=500, low=10, high=100_000
    )


class Journal:
    """The journal of one chamber, as this process writes it. Made by `Journal.open`."""

    def __init__(
        self,
        folder: Path,
        settings: JournalSettings,
        lock: int,
        files: list[DayFile],
        rehearsal: str | None = None,
    ) -> None:
        ordinal = max((day_file.ordinal for day_file in files), default=0) + 1
        self.folder = folder
        self.boot = f"{ordinal:04d}-{rehearsal or secrets.token_hex(2)}"
        self.next_seq = 1
        self.trouble: str | None = None
        self.dropped = 0
        self.newest_tick_seq = 0
        self._settings = settings
        self._is_rehearsal = rehearsal is not None
        self._lock = lock
        self._waiting: dict[int, Entry] = {}
        self._recent: dict[int, Entry] = {}
        self._file: int | None = None
        self._file_bytes = 0
        self._file_day = utc_day(0.0)
        self._synced_mono_s = float("-inf")
        self._unsynced = False
        self._tidied_mono_s = float("-inf")

    @classmethod
    def open(
        cls, folder: Path, settings: JournalSettings, now: Moment, rehearsal: str | None = None
    ) -> Journal:
        """Lock the folder and begin a new boot in it.

        Args:
            folder: where the day files are.
            settings: how much of them is kept.
            now: this moment.
            rehearsal: four hex digits that end the boot's name instead of random ones, for a
                simulation: the same seed then writes the same lines, and nothing waits for the
                disk. None in earnest.

        Raises:
            DiskError: the folder cannot be written, or another controller is writing in it.
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
            lock = os.open(folder / _LOCK_NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise DiskError(
                f"The journal's folder {folder} cannot be written ({error.strerror}).",
                "Create it and give it to the user this program runs as.",
            ) from error
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            files = day_files(folder)
        except OSError as error:
            os.close(lock)
            raise DiskError(
                f"The journal in {folder} is in use ({error.strerror}).",
                "Another barmkeep runs this chamber: stop it first.",
            ) from error
        journal = cls(folder, settings, lock, files, rehearsal)
        journal._tidied_mono_s = now.mono_s - TIDY_S
        return journal

    def append(self, lines: Sequence[wire.Line], now: Moment, urgent: bool) -> None:
        """Write the next lines; on the disk for good at once when urgent, else within a minute.

        Never raises OSError: see `trouble`. `next_seq` has grown by the number of lines in any
        case.
        """
        for line in lines:
            assert (line.boot, line.seq) == (self.boot, self.next_seq), line
            is_tick = isinstance(line, wire.Tick)
            self._waiting[line.seq] = Entry(line.boot, line.seq, is_tick, wire.encode(line))
            self.next_seq += 1
            if is_tick:
                self.newest_tick_seq = line.seq
        try:
            self._write_waiting(now)
            self._sync(now, urgent)
        except OSError as error:
            self._note_trouble(error)
            self._bound_waiting()
        else:
            self._note_well()
            self._tidy(now)

    def last_tick(self) -> wire.Tick | None:
        """The newest good tick of earlier boots: what to resume from; None when there is none."""
        for day_file in reversed(day_files(self.folder)):
            if day_file.boot != self.boot and (tick := newest_tick_in(day_file)) is not None:
                return tick
        return None

    def in_memory(self, seq: int) -> Entry | None:
        """The line of this boot with this number, if it is still in memory."""
        return self._recent.get(seq) or self._waiting.get(seq)

    def oldest_in_memory(self, after_seq: int) -> Entry | None:
        """The first line of this boot in memory numbered above `after_seq`."""
        numbers = (seq for seq in (*self._recent, *self._waiting) if seq > after_seq)
        return self.in_memory(min(numbers, default=0))

    def close(self, now: Moment) -> None:
        """Put everything on the disk if it can be, and unlock the folder."""
        self.append([], now, urgent=True)
        self._close_file()
        os.close(self._lock)

    def _write_waiting(self, now: Moment) -> None:
        """Write what waits in one piece; when it does not fit whole, none of it counts as written.

        1. A new UTC day, or a file given up: a new file. 2. Write. 3. After a partial write cut
        the file back; if even that fails, give the file up, so that no line is torn in the middle.
        """
        if not self._waiting:
            return
        if self._file is None or utc_day(now.utc_s) != self._file_day:
            self._begin_file(now)
        assert self._file is not None
        octets = "".join(entry.text + "\n" for entry in self._waiting.values()).encode()
        self._unsynced = True
        try:
            if os.write(self._file, octets) < len(octets):
                raise OSError(errno.ENOSPC, "No space left for the whole line")
        except OSError:
            self._cut_back()
            raise
        self._file_bytes += len(octets)
        self._recent |= self._waiting
        self._waiting = {}
        for seq in list(islice(self._recent, max(0, len(self._recent) - RECENT_LINES_MAX))):
            del self._recent[seq]

    def _begin_file(self, now: Moment) -> None:
        if self._file is not None:
            self._sync(now, urgent=True)
            self._close_file()
        path = self.folder / file_name(self.boot, next(iter(self._waiting)), now.utc_s)
        flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC
        self._file = os.open(path, flags, 0o644)
        self._file_bytes = os.fstat(self._file).st_size
        self._file_day = utc_day(now.utc_s)
        if self._file_bytes:  # Only after a torn write could not be cut back.
            os.write(self._file, b"\n")
            self._file_bytes += 1
        _sync_folder(self.folder)

    def _cut_back(self) -> None:
        assert self._file is not None
        try:
            os.ftruncate(self._file, self._file_bytes)
        except OSError:
            self._close_file()

    def _close_file(self) -> None:
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _sync(self, now: Moment, urgent: bool) -> None:
        due = urgent or now.mono_s - self._synced_mono_s >= SYNC_S
        if not due or not self._unsynced or self._file is None or self._is_rehearsal:
            return
        try:
            os.fdatasync(self._file)
        except OSError:
            self._close_file()  # Why: after a failed sync the kernel forgets what was not written.
            raise
        self._synced_mono_s = now.mono_s
        self._unsynced = False

    def _bound_waiting(self) -> None:
        """At the limit the oldest tick goes; an event only when nothing but events waits."""
        while len(self._waiting) > WAITING_LINES_MAX:
            ticks = (seq for seq, entry in self._waiting.items() if entry.is_tick)
            del self._waiting[next(ticks, next(iter(self._waiting)))]
            self.dropped += 1

    def _tidy(self, now: Moment) -> None:
        """Now and then: prune, and pack one closed file. What fails is tried again next time."""
        if now.mono_s - self._tidied_mono_s < TIDY_S:
            return
        self._tidied_mono_s = now.mono_s
        bytes_max = self._settings.size_mb_max * _MB
        try:
            files = prune(day_files(self.folder), self._settings.keep_days, bytes_max, now)
            closed = [each for each in files[:-1] if not each.is_packed]
            if closed:
                pack(closed[0])
        except OSError as error:
            _log.warning("Old files of the journal cannot be tidied: %s", error)

    def _note_trouble(self, error: OSError) -> None:
        if self.trouble is None:
            _log.error("The journal cannot be written, lines wait in memory: %s", error)
        self.trouble = f"The journal cannot be written ({error.strerror or error})."

    def _note_well(self) -> None:
        if self.trouble is not None:
            _log.warning("The journal can be written again; %d lines were dropped.", self.dropped)
        self.trouble = None


def _sync_folder(folder: Path) -> None:
    """Make the names in a folder last, as well as what is in the files."""
    opened = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
