"""A copy of the store while it is in use, and a copy put back in its place.

A copy is one unchanging picture of the store, made through SQLite, never by copying the file.
Putting one back refuses a copy that is damaged, another program's or a newer release's, and while a
dashboard runs; the store that stood there is kept beside it. Users and tokens are not part of it.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from controller.errors import DiskError
from dashboard.keeping.database import BUSY_S, STORE, claimed, disk_error, migrations
from dashboard.keeping.database import refuse_a_stranger as refuse

COPY_MODE = 0o600  # Why: what ferments, and who wrote of it, is the brewer's.
ASIDE = "before-{moment}"
_PARTS = ("", "-wal", "-shm")


def back_up(store: Path, copy: Path) -> int:
    """Copy the store, used or not, into a new file. How many bytes the copy has.

    Raises:
        DiskError: there is no such store, the copy exists already, or it cannot be written.
    """
    if not store.exists():
        raise DiskError(f"There is no store {store}.", "Look at [store] path in the settings.")
    if copy.exists():
        raise DiskError(f"The file {copy} exists already.", "Name a new one; none is overwritten.")
    part = _part_of(copy)
    try:
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, COPY_MODE))
        _copy(store, part)
        _check(part)
        _fsync(part)
        part.rename(copy)
        _fsync(copy.parent)
        return copy.stat().st_size
    except OSError as error:
        if isinstance(error, DiskError):
            raise
        raise DiskError(
            f"The copy {copy} cannot be written: {error.strerror}.",
            "Name a file in a folder that exists, may be written and has room.",
        ) from error
    finally:
        part.unlink(missing_ok=True)


def restore(copy: Path, store: Path, now_utc_s: float) -> Path | None:
    """Put a copy in the store's place. Where the store that stood there is now; None without one.

    Raises:
        DiskError: the copy cannot be used, or a dashboard runs; nothing was changed then.
    """
    if not copy.is_file():
        raise DiskError(f"There is no file {copy}.", "Name a file that backup made.")
    claim = claimed(store)
    try:
        part = _part_of(store)
        try:
            os.close(os.open(part, os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, COPY_MODE))
            _copy(copy, part)
            _check(part)
            _fsync(part)
            aside = _put_aside(store, now_utc_s)
            part.replace(store)
            _fsync(store.parent)
        except OSError as error:
            if isinstance(error, DiskError):
                raise
            raise DiskError(
                f"The copy cannot be put in the place of {store}: {error.strerror}.",
                "Look at the owner and the room of its folder; the old store is still there.",
            ) from error
        finally:
            part.unlink(missing_ok=True)
    finally:
        os.close(claim)
    return aside


def _copy(source: Path, target: Path) -> None:
    """One picture of the source, in one step: whoever writes meanwhile is not held up."""
    with (
        contextlib.closing(_opened(source, "ro")) as one,
        contextlib.closing(_opened(target, "rw")) as other,
    ):
        try:
            one.backup(other)
            # A copy travels as one file, so it must not need a log beside it.
            other.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.Error as error:
            raise disk_error(source, error, "file") from error


def _check(copy: Path) -> None:
    """Raises:
    DiskError: it is no whole store of ours, or a newer release's.
    """
    with contextlib.closing(_opened(copy, "ro")) as reader:
        try:
            refuse(copy, reader)
            (version,) = reader.execute("PRAGMA user_version").fetchone()
            (tables,) = reader.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            found = [text for (text,) in reader.execute("PRAGMA integrity_check")]
        except sqlite3.Error as error:
            raise disk_error(copy, error, "copy") from error
    if not tables or not version:
        raise DiskError("The copy holds no store.", "Name a file that backup made.")
    if version > len(migrations()):
        raise DiskError(
            f"The copy is of schema {version}; this release knows {len(migrations())}.",
            "Install the release that made it.",
        )
    if found != ["ok"]:
        raise DiskError(f"The copy of the {STORE.noun} is damaged: {found[0]}.", "Take another.")


def _put_aside(store: Path, now_utc_s: float) -> Path | None:
    if not store.exists():
        return None
    moment = datetime.fromtimestamp(now_utc_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    aside = store.with_name(f"{store.name}.{ASIDE.format(moment=moment)}")
    if aside.exists():
        raise DiskError(f"{aside} exists already.", "Try again in a second.")
    # Its log is folded in, so that the old store is whole as one file; a damaged one may refuse.
    with (
        contextlib.suppress(sqlite3.Error, DiskError),
        contextlib.closing(_opened(store, "rw")) as old_store,
    ):
        old_store.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for ending in reversed(_PARTS):
        old = store.with_name(store.name + ending)
        if old.exists():
            old.replace(aside.with_name(aside.name + ending))
    return aside


def _opened(path: Path, mode: str) -> sqlite3.Connection:
    try:
        return sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=BUSY_S)
    except sqlite3.Error as error:
        raise disk_error(path, error, "file") from error


def _part_of(path: Path) -> Path:
    return path.with_name(f".{path.name}.part")


def _fsync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
