"""Lines coming in: held once, in memory until committed, then on the disk with all that follows.

The write side of the store. A commit is one transaction: the ticks, the events, the three rollups
and the record of which lines are held. When it fails nothing of it is on the disk, the lines stay
in memory, and the next commit tries again. Not safe for threads by itself; the store locks.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from controller.errors import WireError
from controller.wire import Event, Line, Stored, Tick, encode
from dashboard.keeping.database import Database
from dashboard.keeping.ranges import Ranges
from dashboard.keeping.rollup import COLUMNS, TABLES, Sums, thinned
from dashboard.keeping.rows import State, StateKey, state_body, state_key, tick_row

CHAMBERS_MAX = 200  # Why: far beyond one brewer; a broken sender must not fill the disk with names.
STATES_CACHED_MAX = 20_000  # Why: a boot has some dozens; beyond this they are looked up again.

INSERT_TICK = (
    "INSERT OR IGNORE INTO ticks (seq, utc_s, beer, garage, target, pad, air, demand, state,"
    " chamber) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
INSERT_EVENT = (
    "INSERT OR IGNORE INTO events (chamber, utc_s, boot, seq, line) VALUES (?, ?, ?, ?, ?)"
)


@dataclass(slots=True)
class Boot:
    """One start of one controller, as far as it is held here."""

    id: int
    chamber_id: int
    chamber: str
    name: str
    held: Ranges
    through: int  # committed
    beyond: tuple[tuple[int, int], ...]  # committed
    heard_utc_s: float
    pending: list[Line] = field(default_factory=list)


class Lines:
    """The lines of every boot: which are held, and those not yet on the disk."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._boots: dict[tuple[str, str], Boot] = {}
        self._states: dict[tuple[int, StateKey], int] = {}
        self.waiting = 0

    def add(self, line: Line, heard_utc_s: float) -> bool:
        """Whether this line is new. It waits for the next commit."""
        boot = self.boot(line.chamber, line.boot, heard_utc_s)
        boot.heard_utc_s = max(boot.heard_utc_s, heard_utc_s)
        if not boot.held.add(line.seq):
            return False
        boot.pending.append(line)
        self.waiting += 1
        return True

    def pending(self) -> Iterator[Line]:
        """The lines not yet on the disk."""
        for boot in self._boots.values():
            yield from boot.pending

    def commit(self) -> tuple[Stored, ...]:
        """Everything waiting, to the disk. What is now held of every boot that had some.

        Raises:
            DiskError: nothing was written; the lines go on waiting.
        """
        touched = [boot for boot in self._boots.values() if boot.pending]
        if not touched:
            return ()
        try:
            with self._database.writing() as connection:
                for boot in touched:
                    self._write(connection, boot)
        except BaseException:
            self._states.clear()  # Why: it may name rows that were rolled back.
            raise
        for boot in touched:
            boot.pending = []
            boot.through, boot.beyond = boot.held.through, boot.held.beyond()
        self.waiting = 0
        return tuple(Stored(boot.chamber, boot.name, boot.through) for boot in touched)

    def boot(self, chamber: str, name: str, heard_utc_s: float) -> Boot:
        """What is held of this boot; a boot never heard of gets its place on the disk at once."""
        known = self._boots.get((chamber, name))
        if known is None:
            known = self.known_boot(chamber, name) or self._new_boot(chamber, name, heard_utc_s)
            self._boots[chamber, name] = known
        return known

    def known_boot(self, chamber: str, name: str) -> Boot | None:
        """What is held of this boot; None when it was never heard of."""
        if (chamber, name) in self._boots:
            return self._boots[chamber, name]
        with self._database.reading() as connection:
            found = connection.execute(
                "SELECT boots.id, chamber, through, heard_utc_s FROM boots"
                " JOIN chambers ON chambers.id = chamber"
                " WHERE chambers.name = ? AND boots.name = ?",
                (chamber, name),
            ).fetchone()
            if found is None:
                return None
            boot_id, chamber_id, through, heard_utc_s = found
            beyond = tuple(
                connection.execute(
                    "SELECT first, last FROM ranges WHERE boot = ? ORDER BY first", (boot_id,)
                )
            )
        held = Ranges(((1, through), *beyond) if through else beyond)
        return Boot(boot_id, chamber_id, chamber, name, held, through, beyond, heard_utc_s)

    def _new_boot(self, chamber: str, name: str, heard_utc_s: float) -> Boot:
        with self._database.writing() as connection:
            chamber_id = chamber_id_of(connection, chamber)
            (boot_id,) = connection.execute(
                "INSERT INTO boots (chamber, name, heard_utc_s) VALUES (?, ?, ?) RETURNING id",
                (chamber_id, name, heard_utc_s),
            ).fetchone()
        return Boot(boot_id, chamber_id, chamber, name, Ranges(), 0, (), heard_utc_s)

    def _write(self, connection: sqlite3.Connection, boot: Boot) -> None:
        """One boot's waiting lines and all that follows from them, in an open transaction."""
        minutes: dict[int, Sums] = {}
        rows = []
        for tick in boot.pending:
            if isinstance(tick, Tick):
                row = tick_row(tick)
                rows.append((*row, self._state_id(connection, boot, tick), boot.chamber_id))
                _, utc_s, beer, garage, target, *_ = row
                sums = minutes.setdefault(utc_s - utc_s % 60, Sums())
                sums.take(beer, garage, target, tick.heat, tick.fan)
        connection.executemany(INSERT_TICK, rows)
        connection.executemany(_ADD_HEAT, _heat_rows(boot))
        connection.executemany(
            INSERT_EVENT,
            [
                (boot.chamber_id, event.utc_s, boot.id, event.seq, encode(event))
                for event in boot.pending
                if isinstance(event, Event)
            ],
        )
        for table, step_s in TABLES:
            merge_rollup(connection, table, boot.chamber_id, thinned(minutes.items(), step_s))
        self._record_held(connection, boot)

    def _record_held(self, connection: sqlite3.Connection, boot: Boot) -> None:
        connection.execute(
            "UPDATE boots SET through = ?, heard_utc_s = ? WHERE id = ?",
            (boot.held.through, boot.heard_utc_s, boot.id),
        )
        beyond = boot.held.beyond()
        if beyond != boot.beyond:
            connection.execute("DELETE FROM ranges WHERE boot = ?", (boot.id,))
            connection.executemany(
                "INSERT INTO ranges (boot, first, last) VALUES (?, ?, ?)",
                [(boot.id, first, last) for first, last in beyond],
            )

    def _state_id(self, connection: sqlite3.Connection, boot: Boot, tick: Tick) -> int:
        key = (boot.id, state_key(tick))
        known = self._states.get(key)
        if known is not None:
            return known
        values = (boot.id, tick.heat, tick.fan, state_body(tick))
        connection.execute(
            "INSERT OR IGNORE INTO states (boot, heat, fan, body) VALUES (?, ?, ?, ?)", values
        )
        (found,) = connection.execute(
            "SELECT id FROM states WHERE boot = ? AND heat = ? AND fan = ? AND body = ?", values
        ).fetchone()
        if len(self._states) >= STATES_CACHED_MAX:
            self._states.clear()
        self._states[key] = int(found)
        return int(found)


def chamber_id_of(connection: sqlite3.Connection, name: str) -> int:
    """The chamber's number, given to it now if need be, in an open transaction.

    Raises:
        WireError: it is new, and there are `CHAMBERS_MAX` already.
    """
    found = connection.execute("SELECT id FROM chambers WHERE name = ?", (name,)).fetchone()
    if found is None:
        (count,) = connection.execute("SELECT count(*) FROM chambers").fetchone()
        if count >= CHAMBERS_MAX:
            raise WireError(
                f"The chamber {name} is one too many; {count} are known.", "Check who sends."
            )
        sql = "INSERT INTO chambers (name) VALUES (?) RETURNING id"
        found = connection.execute(sql, (name,)).fetchone()
    return int(found[0])


def _heat_rows(boot: Boot) -> list[tuple[int, int, int, float, float]]:
    """What the waiting ticks tell of the ferment's own heat, added up by the hour."""
    hours: dict[int, list[tuple[float, float]]] = {}
    for tick in boot.pending:
        if isinstance(tick, Tick) and tick.ferment_w is not None and tick.ferment_w_sd is not None:
            start_s = round(tick.utc_s) // 3600 * 3600
            hours.setdefault(start_s, []).append((tick.ferment_w, tick.ferment_w_sd))
    return [
        (boot.chamber_id, start_s, len(told), sum(w for w, _ in told), sum(sd for _, sd in told))
        for start_s, told in hours.items()
    ]


_ADD_HEAT = (
    "INSERT INTO ferment_heat (chamber, start_s, count, watts_sum, sd_sum) VALUES (?, ?, ?, ?, ?)"
    " ON CONFLICT DO UPDATE SET count = count + excluded.count,"
    " watts_sum = watts_sum + excluded.watts_sum, sd_sum = sd_sum + excluded.sd_sum"
)


def merge_rollup(
    connection: sqlite3.Connection, table: str, chamber_id: int, stretches: dict[int, Sums]
) -> None:
    """Add these stretches to a rollup table, into those that are there already."""
    connection.executemany(
        _MERGE[table],
        [(chamber_id, start_s, *sums.row()) for start_s, sums in stretches.items()],
    )


def _merged(column: str) -> str:
    """What a column becomes when a stretch is there already. SQLite's min and max are None with
    None, hence each side stands in for the other.
    """
    if column.endswith(("_low", "_high")):
        function = "min" if column.endswith("_low") else "max"
        old, new = column, f"excluded.{column}"
        return f"{column} = {function}(coalesce({old}, {new}), coalesce({new}, {old}))"
    return f"{column} = {column} + excluded.{column}"


_MERGE = {
    table: f"INSERT INTO {table} (chamber, start_s, {', '.join(COLUMNS)})"  # noqa: S608
    f" VALUES ({', '.join('?' * (len(COLUMNS) + 2))})"
    f" ON CONFLICT DO UPDATE SET {', '.join(map(_merged, COLUMNS))}"
    for table, _ in TABLES
}


def states_of(connection: sqlite3.Connection, ids: Iterable[int]) -> dict[int, State]:
    """These states, by their number."""
    found = {}
    for each in set(ids):
        chamber, boot, heat, fan, body = connection.execute(
            "SELECT chambers.name, boots.name, heat, fan, body FROM states"
            " JOIN boots ON boots.id = boot JOIN chambers ON chambers.id = chamber"
            " WHERE states.id = ?",
            (each,),
        ).fetchone()
        found[each] = State(chamber, boot, bool(heat), bool(fan), json.loads(body))
    return found
