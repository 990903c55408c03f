"""What a brewer means to do with each batch, and what was ticked off what comes next.

On the disk when the call returns. It knows no agenda: an item is a name and a title here.
"""

from __future__ import annotations

from dashboard.errors import EntryError
from dashboard.facts import By, Plan, TickedOff
from dashboard.keeping.database import Database
from dashboard.keeping.entries import explained

TICKED_OFF_MAX = 200  # Why: a batch has a dozen; more is a script gone wild.


class Plans:
    """The plans and what was ticked off. What changes something may raise DiskError."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def plan(self, batch_id: int) -> Plan:
        """What is meant for this batch; the usual while nobody said otherwise."""
        with self._database.reading() as connection:
            row = connection.execute(
                "SELECT is_dry_hopped, hop_limit_h, forced_sg FROM plans WHERE batch = ?",
                (batch_id,),
            ).fetchone()
        return Plan() if row is None else Plan(bool(row[0]), row[1], row[2])

    def set_plan(self, batch_id: int, plan: Plan) -> None:
        """Put this in the place of what was meant before.

        Raises:
            EntryError: there is no such batch, or a figure no batch can have.
        """
        with explained(), self._database.writing() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO plans VALUES (?, ?, ?, ?)",
                (batch_id, plan.is_dry_hopped, plan.hop_limit_h, plan.forced_sg),
            )

    def ticked_off(self, batch_id: int) -> tuple[TickedOff, ...]:
        """What was ticked off, the newest first."""
        with self._database.reading() as connection:
            rows = connection.execute(
                "SELECT item, how, title, who, utc_s FROM settled WHERE batch = ?"
                " ORDER BY utc_s DESC, item LIMIT ?",
                (batch_id, TICKED_OFF_MAX),
            ).fetchall()
        return tuple(
            TickedOff(item, how, title, By(who, utc_s)) for item, how, title, who, utc_s in rows
        )

    def tick_off(self, batch_id: int, ticked: TickedOff) -> None:
        """Keep that an item is done or skipped; the last word counts.

        Raises:
            EntryError: there is no such batch, or too much is ticked off already.
        """
        with explained(), self._database.writing() as connection:
            (count,) = connection.execute(
                "SELECT count(*) FROM settled WHERE batch = ?", (batch_id,)
            ).fetchone()
            if count >= TICKED_OFF_MAX:
                raise EntryError(f"{count} things are ticked off already.", "End this batch first.")
            connection.execute(
                "INSERT OR REPLACE INTO settled VALUES (?, ?, ?, ?, ?, ?)",
                (
                    batch_id,
                    ticked.item,
                    ticked.how,
                    ticked.title,
                    ticked.by.utc_s,
                    ticked.by.who,
                ),
            )

    def put_back(self, batch_id: int, item: str) -> None:
        """Forget that an item was ticked off."""
        with self._database.writing() as connection:
            connection.execute("DELETE FROM settled WHERE batch = ? AND item = ?", (batch_id, item))
