"""What people wrote of a batch (gravity readings and notes) and everything ever done to it.

An entry is never lost: a correction, a strike and an undo each keep what stood there before, with
who did it and when, in the same transaction. Kept as typed, never corrected; whether a figure makes
sense for beer is for the form to say.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

from dashboard.errors import EntryError
from dashboard.facts import By, Change, Did, GravityReading, GravityUnit, Note, NoteKind
from dashboard.keeping.database import Database

CHANGES_MAX = 200  # Why: far more than a batch has; a page shows the newest.

Entry = TypeVar("Entry", GravityReading, Note)


@dataclass(frozen=True, slots=True)
class _Kind(Generic[Entry]):
    """One kind of entry: its table, its columns in the order of its dataclass, and its words."""

    name: str
    noun: str
    table: str
    time: str
    columns: tuple[str, ...]

    @property
    def select(self) -> str:
        return f"SELECT id, {', '.join(self.columns)} FROM {self.table}"  # noqa: S608


_GRAVITY: _Kind[GravityReading] = _Kind(
    "gravity",
    "gravity reading",
    "gravities",
    "taken_utc_s",
    ("batch", "taken_utc_s", "entered", "unit", "sample_c", "calibrated_c", "note"),
)
_NOTE: _Kind[Note] = _Kind(
    "note", "note", "notes", "at_utc_s", ("batch", "at_utc_s", "kind", "text")
)
_KINDS: dict[str, _Kind[Any]] = {kind.name: kind for kind in (_GRAVITY, _NOTE)}


class Entries:
    """The entries of every batch. What changes something may raise EntryError or DiskError."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def gravities(self, batch_id: int) -> tuple[GravityReading, ...]:
        """The batch's gravity readings that are not struck, in the order they were taken."""
        return tuple(self._standing(_GRAVITY, batch_id))

    def notes(self, batch_id: int) -> tuple[Note, ...]:
        """The batch's notes that are not struck, in the order of their moments."""
        return tuple(self._standing(_NOTE, batch_id))

    def _standing(self, kind: _Kind[Entry], batch_id: int) -> list[Entry]:
        with self._database.reading() as connection:
            rows = connection.execute(
                f"{kind.select} WHERE batch = ? AND struck = 0 ORDER BY {kind.time}, id",
                (batch_id,),
            ).fetchall()
        return [_entry_of(kind, row) for row in rows]

    def add_gravity(self, reading: GravityReading, by: By | None = None) -> GravityReading:
        """Keep a new reading; what it is kept as, with its id (the id given is not looked at).

        Without `by` it was typed by nobody in particular, when it was taken.
        """
        return self._add(_GRAVITY, reading, by or By("", reading.taken_utc_s))

    def add_note(self, note: Note, by: By | None = None) -> Note:
        """Keep a new note, as `add_gravity`."""
        return self._add(_NOTE, note, by or By("", note.at_utc_s))

    def _add(self, kind: _Kind[Entry], entry: Entry, by: By) -> Entry:
        values = _values(entry)
        sql = (
            f"INSERT INTO {kind.table} ({', '.join(kind.columns)})"  # noqa: S608
            f" VALUES ({', '.join('?' * len(values))}) RETURNING id"
        )
        with explained(), self._database.writing() as connection:
            (entry_id,) = connection.execute(sql, values).fetchone()
            kept = replace(entry, id=entry_id)
            _record(connection, kind, kept, _Deed(Did.WRITTEN, by))
        return kept

    def change_gravity(self, reading: GravityReading, by: By) -> None:
        """Put this in the place of the reading with the same id; the old one is kept as history."""
        self._change(_GRAVITY, reading, by)

    def change_note(self, note: Note, by: By) -> None:
        """Put this in the place of the note with the same id; the old one is kept as history."""
        self._change(_NOTE, note, by)

    def _change(self, kind: _Kind[Entry], entry: Entry, by: By) -> None:
        with explained(), self._database.writing() as connection:
            before, _ = _found(connection, kind, entry.id, entry.batch_id)
            _record(connection, kind, before, _Deed(Did.CHANGED, by, _json(before)))
            _put(connection, kind, entry, struck=False)

    def strike_gravity(self, reading_id: int, by: By) -> None:
        """Strike a reading out. It stays in the history, and can be taken back."""
        self._strike(_GRAVITY, reading_id, by)

    def strike_note(self, note_id: int, by: By) -> None:
        """Strike a note out. It stays in the history, and can be taken back."""
        self._strike(_NOTE, note_id, by)

    def _strike(self, kind: _Kind[Entry], entry_id: int, by: By) -> None:
        with self._database.writing() as connection:
            before, _ = _found(connection, kind, entry_id)
            _record(connection, kind, before, _Deed(Did.STRUCK, by, _json(before)))
            _put(connection, kind, before, struck=True)

    def changes(self, batch_id: int) -> tuple[Change, ...]:
        """The newest changes of a batch's entries, the newest first."""
        with self._database.reading() as connection:
            rows = connection.execute(
                "SELECT id, kind, entry, utc_s, who, did, before, EXISTS"
                " (SELECT 1 FROM changes AS later WHERE later.undoes = changes.id)"
                " FROM changes WHERE batch = ? ORDER BY id DESC LIMIT ?",
                (batch_id, CHANGES_MAX),
            ).fetchall()
            return tuple(_change_of(connection, batch_id, row) for row in rows)

    def undo(self, batch_id: int, change_id: int, by: By) -> Change:
        """Take back the newest change of this batch that has not been taken back yet.

        Raises:
            EntryError: `change_id` is not that change, because somebody was faster.
        """
        with explained(), self._database.writing() as connection:
            found = connection.execute(
                "SELECT id, kind, entry, utc_s, who, did, before, 1 FROM changes"
                " WHERE batch = ? AND did != 'undone' AND NOT EXISTS"
                " (SELECT 1 FROM changes AS later WHERE later.undoes = changes.id)"
                " ORDER BY id DESC LIMIT 1",
                (batch_id,),
            ).fetchone()
            if found is None or found[0] != change_id:
                raise EntryError("That is not the newest entry any more.", "Open the page again.")
            change = _change_of(connection, batch_id, found)
            kind = _KINDS[found[1]]
            now, is_struck = _found(connection, kind, found[2], struck_too=True)
            before = None if is_struck else _json(now)
            _record(connection, kind, now, _Deed(Did.UNDONE, by, before, change_id))
            is_gone = change.before is None
            _put(connection, kind, change.before or now, struck=is_gone)
        return change


def _entry_of(kind: _Kind[Entry], row: tuple[Any, ...]) -> Entry:
    if kind.name == _GRAVITY.name:
        return GravityReading(*row[:4], GravityUnit(row[4]), *row[5:])  # type: ignore[return-value,call-arg]
    entry_id, batch, at_utc_s, of, text = row
    return Note(entry_id, batch, at_utc_s, NoteKind(of), text)  # type: ignore[return-value]


def _values(entry: GravityReading | Note) -> tuple[Any, ...]:
    """In the order of the columns."""
    if isinstance(entry, Note):
        return (entry.batch_id, entry.at_utc_s, entry.kind.value, entry.text)
    return (
        entry.batch_id,
        entry.taken_utc_s,
        entry.entered,
        entry.unit.value,
        entry.sample_c,
        entry.calibrated_c,
        entry.note,
    )


def _json(entry: GravityReading | Note) -> str:
    return json.dumps([entry.id, *_values(entry)], separators=(",", ":"), ensure_ascii=False)


def _found(
    connection: sqlite3.Connection,
    kind: _Kind[Entry],
    entry_id: int,
    batch_id: int | None = None,
    *,
    struck_too: bool = False,
) -> tuple[Entry, bool]:
    """The entry as it stands, and whether it is struck. One of another batch is not found."""
    row = connection.execute(
        f"SELECT id, {', '.join(kind.columns)}, struck FROM {kind.table} WHERE id = ?",  # noqa: S608
        (entry_id,),
    ).fetchone()
    is_ours = row is not None and batch_id in (None, row[1])
    if not is_ours or (row[-1] and not struck_too):
        raise EntryError(
            f"There is no {kind.noun} {entry_id}.", "Load the page again; it may have been struck."
        )
    return _entry_of(kind, tuple(row[:-1])), bool(row[-1])


def _put(connection: sqlite3.Connection, kind: _Kind[Entry], entry: Entry, *, struck: bool) -> None:
    columns = ", ".join((*kind.columns, "struck"))
    places = ", ".join("?" * (len(kind.columns) + 1))
    connection.execute(
        f"UPDATE {kind.table} SET ({columns}) = ({places}) WHERE id = ?",  # noqa: S608
        (*_values(entry), struck, entry.id),
    )


@dataclass(frozen=True, slots=True)
class _Deed:
    """What somebody did to an entry; `before` is its text before, `undoes` what was taken back."""

    did: Did
    by: By
    before: str | None = None
    undoes: int | None = None


def _record(connection: sqlite3.Connection, kind: _Kind[Entry], entry: Entry, deed: _Deed) -> None:
    connection.execute(
        "INSERT INTO changes (batch, kind, entry, utc_s, who, did, before, undoes)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            entry.batch_id,
            kind.name,
            entry.id,
            deed.by.utc_s,
            deed.by.who,
            deed.did.value,
            deed.before,
            deed.undoes,
        ),
    )


def _change_of(connection: sqlite3.Connection, batch_id: int, row: tuple[Any, ...]) -> Change:
    change_id, name, entry_id, utc_s, who, did, before, is_undone = row
    kind = _KINDS[name]
    now, _ = _found(connection, kind, entry_id, struck_too=True)
    was = None if before is None else _entry_of(kind, tuple(json.loads(before)))
    return Change(change_id, batch_id, By(who, utc_s), Did(did), was, now, bool(is_undone))


@contextlib.contextmanager
def explained() -> Iterator[None]:
    """Say in words what a check of the schema refused."""
    try:
        yield
    except sqlite3.IntegrityError as error:
        raise EntryError(
            f"That cannot be kept: {error}.", "Correct the figure; nothing was changed."
        ) from error
