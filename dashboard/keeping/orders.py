"""What chambers were asked to do, and their answers, on the disk when the call returns.

An answer to an order that was not given here is not kept: another dashboard gave it. The oldest go
when there are too many. It decides nothing and sends nothing.
"""

from __future__ import annotations

import threading
from typing import cast

from controller.wire import Order, Reply, decode, encode
from dashboard.facts import Given
from dashboard.keeping.database import Database
from dashboard.keeping.lines import chamber_id_of

KEPT_MAX = 2000  # Why: years of a household's; the controllers' journals hold them for ever.


class OrderBook:
    """The orders given. What changes something may raise DiskError."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._has_come = threading.Condition()

    def add_order(self, order: Order) -> None:
        """Keep an order before it is sent."""
        with self._database.writing() as connection:
            connection.execute(
                "INSERT INTO orders (id, chamber, utc_s, line) VALUES (?, ?, ?, ?)",
                (
                    order.id,
                    chamber_id_of(connection, order.chamber),
                    order.utc_s,
                    encode(order),
                ),
            )
            connection.execute(
                "DELETE FROM orders WHERE id IN"
                " (SELECT id FROM orders ORDER BY utc_s DESC LIMIT -1 OFFSET ?)",
                (KEPT_MAX,),
            )

    def answer_order(self, reply: Reply) -> bool:
        """Keep an answer; whether it is the first to an order given here."""
        with self._database.writing() as connection:
            changed = connection.execute(
                "UPDATE orders SET reply = ? WHERE id = ? AND reply IS NULL"
                " AND chamber = (SELECT id FROM chambers WHERE name = ?)",
                (encode(reply), reply.id, reply.chamber),
            )
            is_first = changed.rowcount == 1
        with self._has_come:
            self._has_come.notify_all()
        return is_first

    def answer_to(self, order_id: str, wait_s: float) -> Reply | None:
        """The answer to an order, waited for so long; None when none came."""
        with self._has_come:
            self._has_come.wait_for(lambda: self._reply(order_id) is not None, wait_s)
        return self._reply(order_id)

    def orders(self, chamber: str, limit: int) -> tuple[Given, ...]:
        """The newest orders to a chamber, the newest first."""
        with self._database.reading() as connection:
            rows = connection.execute(
                "SELECT line, reply FROM orders"
                " WHERE chamber = (SELECT id FROM chambers WHERE name = ?)"
                " ORDER BY utc_s DESC, id LIMIT ?",
                (chamber, limit),
            ).fetchall()
        return tuple(
            Given(cast(Order, decode(line)), None if reply is None else cast(Reply, decode(reply)))
            for line, reply in rows
        )

    def _reply(self, order_id: str) -> Reply | None:
        with self._database.reading() as connection:
            found = connection.execute(
                "SELECT reply FROM orders WHERE id = ?", (order_id,)
            ).fetchone()
        return None if found is None or found[0] is None else cast(Reply, decode(found[0]))
