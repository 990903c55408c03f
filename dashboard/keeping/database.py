"""Opening the database file, bringing it up to date, and saying what is wrong with it in words.

It knows SQLite and nothing of brewing or chambers: the tables and the questions asked of them are
the store's. One connection writes; any number of read-only ones read. Every trouble SQLite reports
leaves here as a DiskError with its remedy.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import queue
import re
import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from controller.errors import DiskError

APPLICATION_ID = 0x4241524D  # Why: the letters BARM; tells our file from another program's.
PEOPLE_ID = 0x42415250  # Why: the letters BARP; the same for the file of users and sessions.
BUSY_S = 10.0  # Why: only a backup or a person's sqlite3 shell can hold the file, and briefly.
OPENING_TRIES = 100  # Why: five seconds; another program opens the same file within one.
OPENING_TRY_S = 0.05  # Why: short against a start, long against a try.
# Why: a commit touches six or seven pages for a dozen rows, and every page is written whole;
# measured in tests/bench: pages of 1024 write less than half of what 4096 do to the card.
PAGE_BYTES = 1024
WAL_PAGES = 4000  # Why: 4 MB of log before it is folded in; SQLite's 1000 suits larger pages.
READERS_KEPT_MAX = 8  # Why: more idle readers than handlers at work would only hold memory.
_MIGRATION = re.compile(r"(\d{4})_[a-z0-9_]+\.sql")  # Why: the number is the schema's version.

# Why: by SQLite's primary result code (sqlite.org/rescode.html): what it means here, and a remedy.
_TROUBLES: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_FULL: ("the disk is full", "Free some space; nothing heard is lost meanwhile."),
    sqlite3.SQLITE_READONLY: ("it is read-only", "Check the owner and mode of it and its folder."),
    sqlite3.SQLITE_CANTOPEN: (
        "it cannot be opened",
        "Check that its folder exists and that this user may write there.",
    ),
    sqlite3.SQLITE_IOERR: ("the disk does not answer", "Check the disk or card, then restore."),
    sqlite3.SQLITE_CORRUPT: (
        "it is damaged",
        "Put it aside and restore the newest backup; the controllers send again what it lacks.",
    ),
    sqlite3.SQLITE_NOTADB: ("it is no database", "Name another file, or restore a backup."),
    sqlite3.SQLITE_BUSY: ("another program holds it", "Close that program."),
    sqlite3.SQLITE_LOCKED: ("another program holds it", "Close that program."),
}


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file of ours.

    Args:
        noun: what people call it.
        application_id: what SQLite's header says of it.
        schema: the folder of its numbered steps, below `dashboard`.
        is_held: whether one program holds it for itself as long as it runs.
    """

    noun: str
    application_id: int
    schema: str
    is_held: bool = True


STORE = Kind("store", APPLICATION_ID, "schema")
# Users are made from the command line while the dashboard runs, and neither remembers the file.
PEOPLE = Kind("list of users", PEOPLE_ID, "schema/people", is_held=False)


def disk_error(path: Path, error: sqlite3.Error, noun: str = STORE.noun) -> DiskError:
    """The same trouble in words."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    what, remedy = _TROUBLES.get(code, (f"SQLite says: {error}", "Restore the newest backup."))
    return DiskError(f"The {noun} {path} cannot be used: {what}.", remedy)


def migrations(schema: str = STORE.schema) -> tuple[tuple[int, str], ...]:
    """Every step of the schema, numbered from 1 without a gap: (number, SQL)."""
    found = []
    for each in resources.files("dashboard").joinpath(*schema.split("/")).iterdir():
        named = _MIGRATION.fullmatch(each.name)
        if named:
            found.append((int(named[1]), each.read_text(encoding="utf-8")))
    found.sort()
    assert [number for number, _ in found] == list(range(1, len(found) + 1))
    return tuple(found)


class Database:
    """One SQLite file: a writer behind a lock, and read-only readers.

    Raises:
        DiskError: the file or its folder cannot be used, is damaged, belongs to another program or
            to a newer release, or is in use by another dashboard.
    """

    def __init__(self, path: Path, kind: Kind = STORE) -> None:
        self.path = path
        self._kind = kind
        self._lock = threading.RLock()
        self._readers: queue.LifoQueue[sqlite3.Connection] = queue.LifoQueue(READERS_KEPT_MAX)
        self._claim = claimed(path, kind)
        try:
            self._writer = self._opened()
        except BaseException:
            os.close(self._claim)
            raise
        if not kind.is_held:
            fcntl.flock(self._claim, fcntl.LOCK_UN)

    def _opened(self) -> sqlite3.Connection:
        with self._in_words():
            writer = sqlite3.connect(
                self.path, timeout=BUSY_S, isolation_level=None, check_same_thread=False
            )
        try:
            with self._in_words():
                writer.execute(f"PRAGMA page_size = {PAGE_BYTES}")
                refuse_a_stranger(self.path, writer, self._kind)
                writer.execute("PRAGMA journal_mode = WAL")
                writer.execute("PRAGMA synchronous = FULL")
                writer.execute(f"PRAGMA wal_autocheckpoint = {WAL_PAGES}")
                writer.execute("PRAGMA foreign_keys = ON")
                self._migrate(writer)
        except BaseException:
            writer.close()
            raise
        return writer

    def _migrate(self, writer: sqlite3.Connection) -> None:
        steps = migrations(self._kind.schema)
        (version,) = writer.execute("PRAGMA user_version").fetchone()
        if version > len(steps):
            raise DiskError(
                f"The {self._kind.noun} {self.path} is of schema {version}; this release knows"
                f" {len(steps)}.",
                "Install the newer release again, or name another file.",
            )
        for number, sql in steps[version:]:
            writer.executescript(
                f"BEGIN IMMEDIATE;\n{sql}\nPRAGMA application_id = {self._kind.application_id};\n"
                f"PRAGMA user_version = {number};\nCOMMIT;"
            )

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: kept whole when the block ends well, undone whole when it does not."""
        with self._lock, self._in_words():
            self._writer.execute("BEGIN IMMEDIATE")
            try:
                yield self._writer
                self._writer.execute("COMMIT")
            except BaseException:
                # SQLite has already rolled back on its own after a full disk or an I/O error.
                if self._writer.in_transaction:
                    self._writer.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A read-only connection, which sees one unchanging picture within one statement."""
        with self._in_words():
            try:
                reader = self._readers.get_nowait()
            except queue.Empty:
                reader = sqlite3.connect(
                    f"{self.path.absolute().as_uri()}?mode=ro",
                    uri=True,
                    timeout=BUSY_S,
                    isolation_level=None,
                    check_same_thread=False,
                )
            try:
                yield reader
            finally:
                try:
                    self._readers.put_nowait(reader)
                except queue.Full:
                    reader.close()

    def close(self) -> None:
        """Let go of the file. The write-ahead log is folded in by SQLite."""
        while True:
            try:
                self._readers.get_nowait().close()
            except queue.Empty:
                break
        with self._lock:
            self._writer.close()
            os.close(self._claim)

    @contextlib.contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.IntegrityError:
            raise  # Why: a refused value is the store's to explain, not a trouble of the disk.
        except sqlite3.Error as error:
            raise disk_error(self.path, error, self._kind.noun) from error


def claimed(path: Path, kind: Kind = STORE) -> int:
    """Hold the file's lock file for as long as this program lives, or till it is let go.

    Two dashboards on one store would each think their own memory of what is held to be complete. A
    file that is not held is locked while it is opened, so that one program at a time makes it.

    Raises:
        DiskError: another program holds it, or the lock file cannot be made there.
    """
    lock = path.with_name(f"{path.name}.lock")
    try:
        claim = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError as error:
        remedy = "Create the folder, or correct the path and its owner."
        raise DiskError(
            f"The {kind.noun} {path} cannot be opened there: {error.strerror}.", remedy
        ) from error
    pause = threading.Event()
    for tries_left in reversed(range(1 if kind.is_held else OPENING_TRIES)):
        try:
            fcntl.flock(claim, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if tries_left:
                pause.wait(OPENING_TRY_S)
                continue
            os.close(claim)
            raise DiskError(
                f"Another dashboard already uses the {kind.noun} {path}.",
                "Stop it, or name another file.",
            ) from error
        break
    return claim


def refuse_a_stranger(path: Path, connection: sqlite3.Connection, kind: Kind = STORE) -> None:
    """Raises:
    DiskError: the file is another program's database, or another kind of ours.
    """
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    (owner,) = connection.execute("PRAGMA application_id").fetchone()
    if tables and owner != kind.application_id:
        raise DiskError(
            f"The file {path} is another program's database.",
            f"Name another file for the {kind.noun}.",
        )
