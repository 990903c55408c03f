"""What was noticed for telling, what became of it, and the messages on their way to each target.

Everything that belongs together is one transaction: events leave their queue with the news they
became, a decision is kept with the messages it made. So a kill at any moment loses no message and
makes none twice; a message that was being sent at that moment is known by its `begun_utc_s`. What
is told is decided elsewhere, and sent elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from controller.wire import Event, decode
from dashboard.keeping.database import Database
from dashboard.notify.decision import FLOOD_S, Outcome, Past
from dashboard.notify.news import Message, News, State, Transition

HEEDED_MAX = 500  # Why: a look takes a moment; the rest of a week's outage comes in the next.
WAITING_MAX = 2000  # Why: news held through a night; beyond it the oldest are let go as history.
DUE_MAX = 200  # Why: more than one message can name; what is beyond it is merged next time.
KEPT_S = 60 * 86_400.0  # Why: two months show how often one was told; the store need not grow.

_NEWS = (
    "id, origin, thing, state, true_utc_s, priority, text, remedy, chamber, says_over,"
    " noticed_utc_s"
)
_MESSAGE = "messages.id, made_utc_s, priority, subject, text, link"


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message on its way to one target, or arrived there. `was_begun`: a kill came between."""

    message: Message
    target: str
    state: str
    tries: int
    next_utc_s: float
    was_begun: bool
    ended_utc_s: float | None
    error: str


class Outbox:
    """The part of the store that being told lives on. Everything may raise DiskError."""

    def __init__(self, database: Database) -> None:
        self._database = database

    # What happened.

    def unheeded(self) -> tuple[tuple[int, Event], ...]:
        """The oldest events nobody has looked at for telling, each with its place in the queue."""
        with self._database.reading() as connection:
            rows = connection.execute(
                "SELECT id, line FROM unheeded ORDER BY id LIMIT ?", (HEEDED_MAX,)
            ).fetchall()
        return tuple((place, cast(Event, decode(line))) for place, line in rows)

    def notice(
        self, transitions: Iterable[Transition], noticed_utc_s: float, heeded: int = 0
    ) -> None:
        """Keep these transitions, each once, and take events up to place `heeded` off the queue."""
        with self._database.writing() as connection:
            connection.executemany(
                "INSERT OR IGNORE INTO news (origin, thing, state, true_utc_s, priority, text,"
                " remedy, chamber, says_over, noticed_utc_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(*_row(each), noticed_utc_s) for each in transitions],
            )
            connection.execute("DELETE FROM unheeded WHERE id <= ?", (heeded,))
            connection.execute(
                "UPDATE news SET outcome = ? WHERE outcome IS NULL AND id <="
                " (SELECT id FROM news WHERE outcome IS NULL ORDER BY id DESC LIMIT 1 OFFSET ?)",
                (Outcome.HISTORY, WAITING_MAX),
            )

    def waiting(self) -> tuple[News, ...]:
        """What is not settled yet, oldest first."""
        sql = f"SELECT {_NEWS} FROM news WHERE outcome IS NULL ORDER BY id"  # noqa: S608
        with self._database.reading() as connection:
            return tuple(_news_of(row) for row in connection.execute(sql).fetchall())

    def open(self) -> dict[str, Transition]:
        """The things whose newest transition but for a person's seeing it is a raise."""
        sql = (
            f"SELECT {_NEWS} FROM news WHERE state = 'raised' AND id IN (SELECT max(id) FROM news"  # noqa: S608
            " WHERE state != 'quieted' GROUP BY thing)"
        )
        with self._database.reading() as connection:
            found = [_news_of(row).transition for row in connection.execute(sql).fetchall()]
        return {each.thing: each for each in found}

    def past(self, now_utc_s: float) -> Past:
        """What was told before, as `decide` wants to know it."""
        with self._database.reading() as connection:
            told: dict[str, float] = dict(
                connection.execute(
                    "SELECT thing, made_utc_s FROM news JOIN messages ON messages.id = message"
                    " WHERE state = 'raised' AND NOT EXISTS (SELECT 1 FROM news AS later"
                    " WHERE later.thing = news.thing AND later.id > news.id"
                    " AND later.state = 'cleared' AND later.outcome IS NOT NULL)"
                    " ORDER BY news.id"
                ).fetchall()
            )
            quieted = connection.execute(
                "SELECT DISTINCT thing FROM news AS seen WHERE state = 'quieted' AND NOT EXISTS"
                " (SELECT 1 FROM news AS later WHERE later.thing = seen.thing"
                " AND later.id > seen.id AND later.message IS NOT NULL)"
            ).fetchall()
            times = connection.execute(
                "SELECT made_utc_s FROM messages WHERE made_utc_s > ?", (now_utc_s - FLOOD_S,)
            ).fetchall()
            (summary_utc_s,) = connection.execute(
                "SELECT max(made_utc_s) FROM messages WHERE is_flood"
            ).fetchone()
        made = tuple(utc_s for (utc_s,) in times)
        return Past(told, frozenset(thing for (thing,) in quieted), made, summary_utc_s)

    # What is sent.

    def settle(
        self,
        outcomes: Mapping[int, Outcome],
        messages: Sequence[tuple[Message, bool, Sequence[int]]],
        targets: Sequence[str],
    ) -> None:
        """Keep what became of news, and the messages made of it: each with whether it is a flood's
        summary and the news in it, to be delivered to every target.
        """
        with self._database.writing() as connection:
            connection.executemany(
                "UPDATE news SET outcome = ? WHERE id = ?",
                [(outcome.value, news_id) for news_id, outcome in outcomes.items()],
            )
            for message, is_flood, news_ids in messages:
                message_id = self._kept(connection, message, is_flood, targets)
                connection.executemany(
                    "UPDATE news SET message = ? WHERE id = ?",
                    [(message_id, news_id) for news_id in news_ids],
                )

    @staticmethod
    def _kept(connection: Any, message: Message, is_flood: bool, targets: Sequence[str]) -> int:
        (message_id,) = connection.execute(
            "INSERT INTO messages (made_utc_s, priority, subject, text, link, is_flood)"
            " VALUES (?, ?, ?, ?, ?, ?) RETURNING id",
            (
                message.made_utc_s,
                message.priority,
                message.subject,
                message.text,
                message.link,
                is_flood,
            ),
        ).fetchone()
        connection.executemany(
            "INSERT INTO deliveries (message, target, state, next_utc_s)"
            " VALUES (?, ?, 'waiting', ?)",
            [(message_id, target, message.made_utc_s) for target in targets],
        )
        return int(message_id)

    def due(self, target: str, now_utc_s: float) -> tuple[Delivery, ...]:
        """What waits for this target, oldest first; nothing while the target's next try is yet to
        come.
        """
        found = self._deliveries(
            "deliveries.state = 'waiting' AND target = ? ORDER BY message LIMIT ?",
            (target, DUE_MAX),
        )
        return found if found and found[0].next_utc_s <= now_utc_s else ()

    def begin(self, deliveries: Sequence[Delivery], now_utc_s: float) -> None:
        """These are being sent now."""
        self._mark("begun_utc_s = ?", (now_utc_s,), deliveries)

    def delivered(self, deliveries: Sequence[Delivery], now_utc_s: float) -> None:
        """These have arrived."""
        self._mark(
            "state = 'delivered', begun_utc_s = NULL, error = '', tries = tries + 1,"
            " ended_utc_s = ?",
            (now_utc_s,),
            deliveries,
        )

    def refused(self, deliveries: Sequence[Delivery], now_utc_s: float, error: str) -> None:
        """These will never be taken; trying again would not help."""
        self._mark(
            "state = 'refused', begun_utc_s = NULL, tries = tries + 1, ended_utc_s = ?, error = ?",
            (now_utc_s, error),
            deliveries,
        )

    def postpone(self, deliveries: Sequence[Delivery], next_utc_s: float, error: str) -> None:
        """These did not arrive; they are tried again then."""
        self._mark(
            "begun_utc_s = NULL, tries = tries + 1, next_utc_s = ?, error = ?",
            (next_utc_s, error),
            deliveries,
        )

    def _mark(
        self, change: str, values: tuple[object, ...], deliveries: Sequence[Delivery]
    ) -> None:
        with self._database.writing() as connection:
            connection.executemany(
                f"UPDATE deliveries SET {change} WHERE message = ? AND target = ?",  # noqa: S608
                [(*values, each.message.id, each.target) for each in deliveries],
            )

    def newest(self, limit: int) -> tuple[Delivery, ...]:
        """The newest deliveries to every target, the newest first."""
        return self._deliveries("1 ORDER BY message DESC, target LIMIT ?", (limit,))

    def _deliveries(self, rule: str, values: tuple[str | int, ...]) -> tuple[Delivery, ...]:
        with self._database.reading() as connection:
            rows = connection.execute(
                f"SELECT {_MESSAGE}, target, state, tries, next_utc_s, begun_utc_s IS NOT NULL,"  # noqa: S608
                " ended_utc_s, error FROM deliveries JOIN messages ON messages.id = message"
                f" WHERE {rule}",
                values,
            ).fetchall()
        return tuple(
            Delivery(Message(*row[:6]), *row[6:10], bool(row[10]), *row[11:])  # type: ignore[call-arg]
            for row in rows
        )

    def tidy(self, targets: Sequence[str], old_utc_s: float, now_utc_s: float) -> None:
        """Give up what is older than `old_utc_s` or whose target is gone, and forget old news."""
        marks = ", ".join("?" * len(targets))
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE deliveries SET state = 'given up', ended_utc_s = ? WHERE state = 'waiting'"  # noqa: S608
                f" AND (target NOT IN ({marks}) OR message IN"
                " (SELECT id FROM messages WHERE made_utc_s < ?))",
                (now_utc_s, *targets, old_utc_s),
            )
            connection.execute(
                "DELETE FROM messages WHERE made_utc_s < ? AND NOT EXISTS"
                " (SELECT 1 FROM deliveries WHERE message = messages.id AND state = 'waiting')",
                (now_utc_s - KEPT_S,),
            )
            connection.execute(
                "DELETE FROM news WHERE noticed_utc_s < ? AND outcome IS NOT NULL AND message IS"
                " NULL AND origin LIKE 'event/%'"  # Other sources may hand theirs in again.
                " AND id NOT IN (SELECT max(id) FROM news GROUP BY thing)",
                (now_utc_s - KEPT_S,),
            )


def _row(each: Transition) -> tuple[object, ...]:
    return (
        each.origin,
        each.thing,
        each.state.value,
        each.true_utc_s,
        each.priority,
        each.text,
        each.remedy,
        each.chamber,
        each.says_over,
    )


def _news_of(row: Sequence[Any]) -> News:
    news_id, origin, thing, state, true_utc_s, *rest = row
    priority, text, remedy, chamber, says_over, noticed_utc_s = rest
    transition = Transition(
        origin, thing, State(state), true_utc_s, priority, text, remedy, chamber, bool(says_over)
    )
    return News(news_id, transition, noticed_utc_s)
