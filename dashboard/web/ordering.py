"""Giving orders to a chamber: made whole, checked by the table, kept, sent, and their answer waited
for.

An order lives for a minute. It is kept before it is sent, so that whatever becomes of it can be
shown. What cannot be sent at once is not sent later: by then nobody may mean it any more.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from controller.beerjson import Profile, to_beerjson
from controller.order_kinds import misfit
from controller.wire import Order, Reply
from dashboard.errors import EntryError
from dashboard.store import Store

TTL_S = 60.0  # Why: time for a slow turn and a lost connection; a minute later it may be unmeant.
WAIT_S = 3.0  # Why: a controller answers within its turn; the page then shows it without a script.
NOBODY = "dashboard"  # Why: who gave an order where nobody is asked for a name.
NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Ordering:
    """What giving an order takes. `clock` gives UTC seconds."""

    store: Store
    say: Callable[[Order], bool]
    clock: Callable[[], float]

    def give(
        self,
        chamber: str,
        kind: str,
        who: str,
        arguments: Mapping[str, Any] = NOTHING,
        wait_s: float | None = None,
    ) -> Reply | None:
        """Give an order, and wait a moment for its answer; None when none has come yet.

        Raises:
            EntryError: it does not fit the table of orders, or it cannot be sent.
            DiskError: it cannot be kept; then it is not sent.
        """
        wrong = misfit(kind, arguments)
        if wrong is not None:
            raise EntryError(wrong, "Nothing was asked of the chamber.")
        order = Order(
            chamber,
            str(uuid.uuid4()),
            who or NOBODY,
            self.clock(),
            TTL_S,
            kind,
            **arguments,
        )
        self.store.add_order(order)
        if not self.say(order):
            raise EntryError(
                "The broker is away, so nothing was asked of the chamber.",
                "Ask again when this page hears the chamber.",
            )
        return self.store.answer_to(order.id, WAIT_S if wait_s is None else wait_s)


def procedure_text(profile: Profile) -> str:
    """A procedure as an order carries it: BeerJSON without a space too many."""
    return json.dumps(json.loads(to_beerjson(profile)), separators=(",", ":"), ensure_ascii=False)
