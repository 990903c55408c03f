"""Reminders: what comes next for a batch, handed to whoever tells people when its time has come.

Each alert of the agenda is one transition with a name that stays the same however the forecast
moves, so that it is told once. It decides nothing about telling: quiet hours and floods are the
teller's. What is ticked off, or done, is not reminded of any more.
"""

from __future__ import annotations

from collections.abc import Iterator

from dashboard.fermentation.advice.agenda import agenda
from dashboard.fermentation.advice.items import Item, Kind
from dashboard.foresight import Foresight
from dashboard.live import LiveHub
from dashboard.notify.news import State, Transition
from dashboard.sheet.ahead import item_when
from dashboard.sheet.units import Units
from dashboard.store import Store
from dashboard.web import look

# Why: hops and packaging spoil beer when they are missed; a reading or a step can wait.
PRIORITIES = {Kind.DRY_HOP: "medium", Kind.HOPS_OUT: "medium", Kind.PACKAGE: "medium"}


class Reminders:
    """A source of transitions: every alert of every running batch that has come due."""

    def __init__(self, store: Store, hub: LiveHub, foresight: Foresight) -> None:
        self._store = store
        self._hub = hub
        self._foresight = foresight

    def __call__(self, now_utc_s: float) -> Iterator[Transition]:
        """What has come due by now, old and new alike.

        Raises:
            DiskError: the store cannot be read.
        """
        for batch in self._store.every_batch():
            if batch.ended_utc_s is not None:
                continue
            seen = look.seen(self._store, self._hub, batch.chamber, now_utc_s)
            is_live = seen is not None and seen.is_live
            its_now_utc_s = seen.now_utc_s if seen is not None and is_live else now_utc_s
            tick = seen.tick if seen is not None and is_live else None
            view = self._foresight.view(batch, its_now_utc_s, tick)
            for item in agenda(view, its_now_utc_s) if view is not None else ():
                due = [n for n, at_utc_s in enumerate(item.alerts) if at_utc_s <= its_now_utc_s]
                if due:
                    yield _reminder(item, batch.chamber, due[-1], its_now_utc_s)


def _reminder(item: Item, chamber: str, number: int, now_utc_s: float) -> Transition:
    when = item_when(item, now_utc_s, Units())
    return Transition(
        origin=f"agenda/{item.key}/{number}",
        thing=f"agenda/{item.key}/{number}",
        state=State.RAISED,
        true_utc_s=item.alerts[number],
        priority=PRIORITIES.get(item.kind, "low"),
        text=f"{item.batch_name}: {item.title[0].lower()}{item.title[1:]}. {when}.",
        remedy=item.reason,
        chamber=chamber,
        says_over=False,
    )
