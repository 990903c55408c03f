"""Everything the dashboard keeps: raw facts as heard or typed, and every question asked of them.

A line (tick or event) is kept at most once, known by chamber, boot and seq; what is missing stays
visible as a gap. Lines wait in memory until `commit`; what `through` says is on the disk. Entries
by people are on the disk when the call returns. It derives nothing: corrected gravities, forecasts
and curves are computed by others from what is read here. SQL stands here and in `keeping/`, nowhere
else. Safe to call from any thread.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from controller.wire import Event, Line, Presence, Stored, Tick, decode, encode
from dashboard.facts import FermentHeat
from dashboard.keeping.database import Database
from dashboard.keeping.entries import Entries
from dashboard.keeping.lines import Lines, chamber_id_of, states_of
from dashboard.keeping.notebook import Notebook
from dashboard.keeping.orders import OrderBook
from dashboard.keeping.outbox import Outbox
from dashboard.keeping.plans import Plans
from dashboard.keeping.rollup import COLUMNS, Sums
from dashboard.keeping.rows import tick_of

# Why: some 20 MB of ticks. Beyond it lines are not taken, so not acknowledged, so sent again.
PENDING_LINES_MAX = 20_000
BOOTS_TOLD_MAX = 8  # Why: a controller that restarted more often than that has other worries.
EVENTS_MAX = 1000  # Why: more than a page can show; the caller pages on by time.
TICKS_MAX = 20_000  # Why: more than a day of 5-second ticks; the caller pages on by time.

_TICK = "SELECT state, seq, utc_s, beer, garage, target, pad, air, demand FROM ticks"
_OF_CHAMBER = " WHERE chamber = (SELECT id FROM chambers WHERE name = ?)"
_ADDED_UP = ", ".join(
    f"{'min' if name.endswith('_low') else 'max' if name.endswith('_high') else 'sum'}({name})"
    for name in COLUMNS
)
_FROM_TICKS = (
    "count(*), sum(heat), sum(fan), count(beer), total(beer), min(beer), max(beer),"
    " count(garage), total(garage), count(target), total(target)"
)


@dataclass(frozen=True, slots=True)
class ChamberState:
    """What is known of a chamber's controller. `heard_utc_s` is by the dashboard's clock.

    `last_tick` is the newest tick by its own time, None before the first; of a tick that was read
    back from the disk, `mono_s` and the counters stand at nought.
    """

    name: str
    presence: Presence | None
    last_tick: Tick | None
    heard_utc_s: float | None


class Store:
    """The dashboard's memory. Build it with `Store.open`."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._lines = Lines(database)
        self._lock = threading.RLock()
        # What people typed is kept by the notebook; asked of the store, so that there is one store.
        notebook = Notebook(database)
        self.batches = notebook.batches
        self.every_batch = notebook.every_batch
        self.batch = notebook.batch
        self.current_batch = notebook.current_batch
        self.add_batch = notebook.add_batch
        self.change_batch = notebook.change_batch
        self.end_batch = notebook.end_batch
        self.outbox = Outbox(database)
        entries = Entries(database)
        self.gravities = entries.gravities
        self.add_gravity = entries.add_gravity
        self.change_gravity = entries.change_gravity
        self.strike_gravity = entries.strike_gravity
        self.notes = entries.notes
        self.add_note = entries.add_note
        self.change_note = entries.change_note
        self.strike_note = entries.strike_note
        self.changes = entries.changes
        self.undo = entries.undo
        plans = Plans(database)
        self.plan = plans.plan
        self.set_plan = plans.set_plan
        self.ticked_off = plans.ticked_off
        self.tick_off = plans.tick_off
        self.put_back = plans.put_back
        book = OrderBook(database)
        self.add_order = book.add_order
        self.answer_order = book.answer_order
        self.answer_to = book.answer_to
        self.orders = book.orders

    @classmethod
    def open(cls, path: Path) -> Store:
        """The store in this file, made or brought up to date if need be.

        Raises:
            DiskError: the file or its folder cannot be used; it names the remedy.
        """
        return cls(Database(path))

    def close(self) -> None:
        """Let go of the file. Lines not committed are forgotten, and will be sent again."""
        with self._lock:
            self._database.close()

    # Lines.

    def add(self, messages: Sequence[Line], heard_utc_s: float) -> int:
        """How many of these lines are new. They wait for `commit`.

        At `PENDING_LINES_MAX` waiting lines the rest are not taken.

        Raises:
            DiskError: a boot never heard of could not be noted.
        """
        with self._lock:
            taken = 0
            for message in messages:
                if self._lines.waiting >= PENDING_LINES_MAX:
                    break
                taken += self._lines.add(message, heard_utc_s)
            return taken

    def add_presence(self, presence: Presence) -> None:
        """Keep a controller's newest word on its presence, at once."""
        with self._lock, self._database.writing() as connection:
            connection.execute(
                "UPDATE chambers SET presence = ? WHERE id = ?",
                (encode(presence), chamber_id_of(connection, presence.chamber)),
            )

    def commit(self) -> tuple[Stored, ...]:
        """Write everything that waits. What is now held of each boot that had some.

        Raises:
            DiskError: nothing was written; the lines go on waiting.
        """
        with self._lock:
            return self._lines.commit()

    def pending(self) -> int:
        """How many lines wait for `commit`."""
        return self._lines.waiting

    def through(self, chamber: str, boot: str) -> int:
        """The highest seq such that every line from 1 to it is on the disk; 0 for none."""
        with self._lock:
            known = self._lines.known_boot(chamber, boot)
            return known.through if known else 0

    def missing(self, chamber: str, boot: str) -> tuple[tuple[int, int], ...]:
        """The gaps below the highest seq held, as (first, last), lowest first."""
        with self._lock:
            known = self._lines.known_boot(chamber, boot)
            return known.held.missing() if known else ()

    def boots(self, chamber: str) -> tuple[str, ...]:
        """The chamber's newest boots, the newest first."""
        with self._database.reading() as connection:
            found = connection.execute(
                f"SELECT name FROM boots{_OF_CHAMBER} ORDER BY id DESC LIMIT ?",  # noqa: S608
                (chamber, BOOTS_TOLD_MAX),
            )
            return tuple(name for (name,) in found)

    # What was heard.

    def chambers(self) -> tuple[ChamberState, ...]:
        """Every chamber ever heard of or given a batch, by name."""
        with self._database.reading() as connection:
            rows = connection.execute(
                "SELECT name, presence, (SELECT max(heard_utc_s) FROM boots"
                " WHERE chamber = chambers.id) FROM chambers ORDER BY name"
            ).fetchall()
        return tuple(
            ChamberState(name, self._presence(line), self._last_tick(name), heard_utc_s)
            for name, line, heard_utc_s in rows
        )

    def _presence(self, line: str | None) -> Presence | None:
        return None if line is None else cast(Presence, decode(line))

    def _last_tick(self, chamber: str) -> Tick | None:
        waiting = self.waiting_ticks(chamber)
        newest = max(waiting, key=lambda tick: tick.utc_s, default=None)
        with self._database.reading() as connection:
            order = " ORDER BY utc_s DESC, seq DESC LIMIT 1"
            kept = self._ticks(connection, _TICK + _OF_CHAMBER + order, (chamber,))
        both = [*kept, newest] if newest else kept
        return max(both, key=lambda tick: tick.utc_s, default=None)

    def _ticks(
        self, connection: sqlite3.Connection, sql: str, values: tuple[str | float, ...]
    ) -> list[Tick]:
        rows = connection.execute(sql, values).fetchall()
        states = states_of(connection, (state for state, *_ in rows))
        return [tick_of(tuple(row), states[state]) for state, *row in rows]

    def waiting_ticks(self, chamber: str) -> tuple[Tick, ...]:
        """The chamber's ticks that wait for `commit`."""
        with self._lock:
            lines = tuple(self._lines.pending())
        return tuple(x for x in lines if isinstance(x, Tick) and x.chamber == chamber)

    def ticks(
        self, chamber: str, from_utc_s: float, to_utc_s: float, limit: int = TICKS_MAX
    ) -> tuple[Tick, ...]:
        """The committed ticks of a stretch of time, oldest first, `limit` of them at most.

        The end is not included. See `ChamberState` for what a tick read back lacks.
        """
        sql = f"{_TICK}{_OF_CHAMBER} AND utc_s >= ? AND utc_s < ? ORDER BY utc_s, seq LIMIT ?"
        with self._database.reading() as connection:
            values = (chamber, from_utc_s, to_utc_s, min(limit, TICKS_MAX))
            return tuple(self._ticks(connection, sql, values))

    def events(
        self, chamber: str, from_utc_s: float, to_utc_s: float, limit: int = EVENTS_MAX
    ) -> tuple[Event, ...]:
        """The newest `limit` committed events of a stretch of time, oldest first."""
        with self._database.reading() as connection:
            rows = connection.execute(
                f"SELECT line FROM events{_OF_CHAMBER} AND utc_s >= ? AND utc_s < ?"  # noqa: S608
                " ORDER BY utc_s DESC, seq DESC LIMIT ?",
                (chamber, from_utc_s, to_utc_s, min(limit, EVENTS_MAX)),
            ).fetchall()
        return tuple(cast(Event, decode(line)) for (line,) in reversed(rows))

    def stretches(
        self, chamber: str, from_s: int, to_s: int, step_s: int, table: str
    ) -> list[tuple[int, Sums]]:
        """Committed history added up into stretches of `step_s`, by their start, oldest first.

        `table` is "ticks" or one of the rollups, whose own step must divide `step_s`.
        """
        source = f"{table} JOIN states ON states.id = state" if table == "ticks" else table
        time, figures = ("utc_s", _FROM_TICKS) if table == "ticks" else ("start_s", _ADDED_UP)
        with self._database.reading() as connection:
            rows = connection.execute(
                f"SELECT {time} - {time} % ?, {figures} FROM {source}{_OF_CHAMBER}"  # noqa: S608
                f" AND {time} >= ? AND {time} < ? GROUP BY 1 ORDER BY 1",
                (step_s, chamber, from_s, to_s),
            ).fetchall()
        return [(start_s, Sums(*map(_whole, figures))) for start_s, *figures in rows]

    def ferment_heat(
        self, chamber: str, from_utc_s: float, to_utc_s: float
    ) -> tuple[FermentHeat, ...]:
        """The ferment's own heat, hour by hour, where its controller could tell it."""
        with self._database.reading() as connection:
            rows = connection.execute(
                f"SELECT start_s, watts_sum / count, sd_sum / count FROM ferment_heat{_OF_CHAMBER}"  # noqa: S608
                " AND start_s >= ? AND start_s < ? ORDER BY start_s",
                (chamber, from_utc_s, to_utc_s),
            ).fetchall()
        return tuple(FermentHeat(float(start_s), watts, sd_w) for start_s, watts, sd_w in rows)


def _whole(value: Any) -> Any:
    """SQLite's totals are floats; ours are whole, and far below where floats lose ones."""
    return None if value is None else int(value)
