"""The files of the journal: their names, reading them whatever state they are in, packing, pruning.

A file is `<boot>.<first seq>.<UTC day>.jsonl`, or the same with `.gz` once it is closed. Sorted by
name they are in the order they were written; the day is for people and for pruning, never for the
order, because a clock may step back. A damaged line costs itself only, and is counted and told.
"""

from __future__ import annotations

import gzip
import logging
import os
import re
import shutil
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import IO

from controller import wire
from controller.decision.vocabulary import Moment
from controller.errors import WireError

_NAME = re.compile(
    r"(?P<boot>(?P<ordinal>\d{4,})-[0-9a-f]{4})\.(?P<first>\d{8,})\.(?P<day>\d{4}-\d\d-\d\d)\.jsonl"
    r"(?P<packed>\.gz)?"
)
_SEQ = re.compile(rb'[{,]"seq":(\d{1,16})[,}]')  # Why: inside a text the quotes are escaped.
_FILLING = b"\x00\n"  # Why: a power cut may leave zeros where a lost line, and its end, was.
_PACKED = ".gz"
_PACK_LEVEL = 6  # Why: zlib's own default; 9 takes twice the time for 1 % less on ticks.

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the journal, and what must be known about it without reading it again."""

    boot: str
    seq: int
    is_tick: bool
    text: str


@dataclass(frozen=True, slots=True)
class DayFile:
    """One file of the journal; `path` may have been packed since this was listed."""

    ordinal: int
    boot: str
    first_seq: int
    day: date
    path: Path

    def open(self) -> IO[bytes]:
        """The lines of the file, packed or not.

        Raises:
            OSError: it is gone or cannot be read.
        """
        if not self.is_packed:
            try:
                return self.path.open("rb")
            except FileNotFoundError:
                return gzip.open(self.packed_path, "rb")  # type: ignore[return-value]
        return gzip.open(self.path, "rb")  # type: ignore[return-value]

    @property
    def is_packed(self) -> bool:
        """Whether this is the packed form."""
        return self.path.suffix == _PACKED

    @property
    def packed_path(self) -> Path:
        """Where the packed form is, or will be."""
        return self.path.with_name(self.path.name + _PACKED)


def file_name(boot: str, first_seq: int, utc_s: float) -> str:
    """The name of a new file."""
    return f"{boot}.{first_seq:08d}.{utc_day(utc_s)}.jsonl"


def utc_day(utc_s: float) -> date:
    """The UTC day of a moment; the first one there is when a clock says nonsense."""
    try:
        return datetime.fromtimestamp(utc_s, UTC).date()
    except (ValueError, OverflowError, OSError):
        return date(1970, 1, 1)


def day_files(folder: Path) -> list[DayFile]:
    """Every file of the journal in the order of writing.

    Of a pair, the plain one: packing was interrupted just before its end and will be done again.
    """
    found: dict[tuple[int, str, int, str], DayFile] = {}
    for name in sorted((path.name for path in folder.iterdir()), reverse=True):
        match = _NAME.fullmatch(name)
        if match is None:
            continue
        try:
            day = date.fromisoformat(match["day"])
        except ValueError:
            continue
        key = (int(match["ordinal"]), match["boot"], int(match["first"]), match["day"])
        found[key] = DayFile(key[0], key[1], key[2], day, folder / name)
    return [found[key] for key in sorted(found)]


def entries_in(day_file: DayFile, after_seq: int = 0) -> Iterator[Entry]:
    """The good lines of one file numbered above `after_seq`, in order.

    A torn, damaged or foreign line is left out, a file that breaks off ends there; both are told.
    """
    damaged, last_seq = 0, after_seq
    for raw in _raw_lines(day_file):
        found = _SEQ.search(raw)
        if found is not None and int(found[1]) <= last_seq:
            continue
        message = message_in(raw)
        if message is None or message.boot != day_file.boot or message.seq <= last_seq:
            damaged += 1
            continue
        last_seq = message.seq
        text = raw.strip(_FILLING).decode()
        yield Entry(message.boot, message.seq, isinstance(message, wire.Tick), text)
    if damaged:
        _log.warning("%s: %d damaged lines were left out.", day_file.path.name, damaged)


def newest_tick_in(day_file: DayFile) -> wire.Tick | None:
    """The last good tick of one file; None when there is none."""
    for raw in reversed(list(_raw_lines(day_file))):
        message = message_in(raw)
        if isinstance(message, wire.Tick) and message.boot == day_file.boot:
            return message
    return None


def ticks_in(day_file: DayFile) -> Iterator[wire.Tick]:
    """The good ticks of one file, in order."""
    for raw in _raw_lines(day_file):
        message = message_in(raw)
        if isinstance(message, wire.Tick) and message.boot == day_file.boot:
            yield message


def message_in(raw: bytes) -> wire.Tick | wire.Event | None:
    """The journal line in these bytes; None when they are none."""
    try:
        message = wire.decode(raw.strip(_FILLING))
    except (WireError, UnicodeDecodeError):
        return None
    return message if isinstance(message, (wire.Tick, wire.Event)) else None


def _raw_lines(day_file: DayFile) -> Iterator[bytes]:
    try:
        with day_file.open() as lines:
            while raw := lines.readline(wire.LINE_BYTES_MAX):
                yield raw
    except FileNotFoundError:
        return  # It was pruned after it was listed.
    except (OSError, EOFError, zlib.error) as error:
        _log.warning("%s breaks off: %s", day_file.path.name, error)


def pack(day_file: DayFile) -> None:
    """Compress a closed file: the whole packed form is on the disk before the plain one goes.

    Raises:
        OSError: there is no room, or the disk is failing; the plain file is still there.
    """
    new = day_file.path.with_name(day_file.path.name + ".new")
    try:
        with day_file.path.open("rb") as plain, new.open("wb") as packed_file:
            with gzip.open(packed_file, "wb", compresslevel=_PACK_LEVEL) as packed:
                shutil.copyfileobj(plain, packed)
            packed_file.flush()
            os.fsync(packed_file.fileno())
        new.replace(day_file.packed_path)
    except OSError:
        new.unlink(missing_ok=True)
        raise
    day_file.path.unlink()


def prune(files: Sequence[DayFile], keep_days: int, bytes_max: int, now: Moment) -> list[DayFile]:
    """Delete what is too old or too much, oldest first, never the newest file; returns the rest.

    Age is judged only by a clock that may be believed.
    """
    sizes = [_size_of(day_file) for day_file in files]
    left_bytes, kept = sum(sizes), list(files)
    today = utc_day(now.utc_s)
    for day_file, size in zip(files[:-1], sizes[:-1], strict=True):
        too_old = now.synced and (today - day_file.day).days > keep_days
        if not too_old and left_bytes <= bytes_max:
            break
        _log.warning("%s is deleted: %s.", day_file.path.name, "old" if too_old else "too much")
        day_file.path.unlink(missing_ok=True)
        left_bytes -= size
        kept.remove(day_file)
    return kept


def _size_of(day_file: DayFile) -> int:
    try:
        return day_file.path.stat().st_size
    except OSError:
        return 0
