"""The batches people typed in, on the disk when the call returns.

What is written of a batch afterwards is `entries`'. Kept as typed, never corrected. Whether a
figure makes sense for beer is for the form to say; here only what no batch can have is refused, by
the checks of the schema itself.
"""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from dashboard.errors import EntryError
from dashboard.facts import Batch
from dashboard.keeping.database import Database
from dashboard.keeping.entries import explained
from dashboard.keeping.lines import chamber_id_of

BATCHES_MAX = 200  # Why: years of a home brewer; a longer page is read by nobody.
_BATCH = (
    "SELECT batches.id, chambers.name, batches.name, pitched_utc_s, original_sg,"
    " expected_final_sg, volume_l, strain, ended_utc_s"
    " FROM batches JOIN chambers ON chambers.id = batches.chamber"
)
_NEWEST_FIRST = " ORDER BY pitched_utc_s DESC, batches.id DESC"
_BATCH_COLUMNS = (
    "(chamber, name, pitched_utc_s, original_sg, expected_final_sg, volume_l, strain, ended_utc_s)"
)


class Notebook:
    """The batches. Everything that changes something may raise EntryError or DiskError."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def batches(self, chamber: str) -> tuple[Batch, ...]:
        """The chamber's batches, the newest first."""
        return self._batches(f"{_BATCH} WHERE chambers.name = ?{_NEWEST_FIRST}", (chamber,))

    def every_batch(self) -> tuple[Batch, ...]:
        """The newest batches of every chamber, the newest first, `BATCHES_MAX` at most."""
        return self._batches(f"{_BATCH}{_NEWEST_FIRST} LIMIT ?", (BATCHES_MAX,))

    def batch(self, batch_id: int) -> Batch | None:
        """One batch, or None."""
        return next(iter(self._batches(f"{_BATCH} WHERE batches.id = ?", (batch_id,))), None)

    def current_batch(self, chamber: str) -> Batch | None:
        """The newest batch of this chamber that has not ended, or None."""
        sql = f"{_BATCH} WHERE chambers.name = ? AND ended_utc_s IS NULL{_NEWEST_FIRST} LIMIT 1"
        return next(iter(self._batches(sql, (chamber,))), None)

    def _batches(self, sql: str, values: tuple[str | int, ...]) -> tuple[Batch, ...]:
        with self._database.reading() as connection:
            return tuple(Batch(*row) for row in connection.execute(sql, values))

    def add_batch(self, batch: Batch) -> Batch:
        """Keep a new batch; what it is kept as, with its id (the id given is not looked at)."""
        sql = f"INSERT INTO batches {_BATCH_COLUMNS} VALUES (?, ?, ?, ?, ?, ?, ?, ?) RETURNING id"  # noqa: S608
        with explained(), self._database.writing() as connection:
            (batch_id,) = connection.execute(sql, _batch_row(connection, batch)).fetchone()
        return replace(batch, id=batch_id)

    def change_batch(self, batch: Batch) -> None:
        """Put this in the place of the batch with the same id: a correction of what was typed."""
        sql = f"UPDATE batches SET {_BATCH_COLUMNS} = (?, ?, ?, ?, ?, ?, ?, ?) WHERE id = ?"  # noqa: S608
        with explained(), self._database.writing() as connection:
            changed = connection.execute(sql, (*_batch_row(connection, batch), batch.id))
            _must_be_one(changed.rowcount, f"batch {batch.id}")

    def end_batch(self, batch_id: int, ended_utc_s: float) -> None:
        """Note when a batch left its chamber. It must not be before it was pitched."""
        with explained(), self._database.writing() as connection:
            changed = connection.execute(
                "UPDATE batches SET ended_utc_s = ? WHERE id = ?", (ended_utc_s, batch_id)
            )
            _must_be_one(changed.rowcount, f"batch {batch_id}")


def _batch_row(connection: sqlite3.Connection, batch: Batch) -> tuple[object, ...]:
    return (
        chamber_id_of(connection, batch.chamber),
        batch.name,
        batch.pitched_utc_s,
        batch.original_sg,
        batch.expected_final_sg,
        batch.volume_l,
        batch.strain,
        batch.ended_utc_s,
    )


def _must_be_one(changed: int, what: str) -> None:
    if changed != 1:
        raise EntryError(f"There is no {what}.", "Load the page again; it may have been removed.")
