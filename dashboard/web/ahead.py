"""What lies ahead, for pages: fetches it from foresight and the store, says it through `sheet`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.facts import Plan, TickedOff
from dashboard.fermentation.advice.agenda import agenda, agenda_of_all
from dashboard.fermentation.advice.items import BatchView, Item
from dashboard.foresight import Foresight
from dashboard.sheet import ahead
from dashboard.sheet.ahead import Line
from dashboard.sheet.seen import Seen
from dashboard.sheet.units import Units
from dashboard.store import Store

TICKED_SHOWN = 5  # Why: what was ticked off lately may be put back; the rest is in the report.


@dataclass(frozen=True, slots=True)
class Ahead:
    """What a chamber's page shows of what comes next. `view` is None where nothing is foretold."""

    view: BatchView | None = None
    sentence: str = ""
    lines: tuple[Line, ...] = ()
    estimate: str = ""
    hops: tuple[str, ...] = ()
    ticked: tuple[tuple[TickedOff, str], ...] = ()
    plan: Plan = Plan()


def of_chamber(
    store: Store, foresight: Foresight, seen: Seen, now_utc_s: float, units: Units
) -> Ahead:
    """What lies ahead of the batch in this chamber."""
    batch = seen.batch
    if batch is None:
        return Ahead()
    view = foresight.view(batch, now_utc_s, seen.tick if seen.is_live else None)
    if view is None:
        return Ahead()
    ticked = store.ticked_off(batch.id)[:TICKED_SHOWN]
    estimate = " ".join((ahead.now_words(view, units), ahead.heat_words(view, units))).strip()
    return Ahead(
        view,
        ahead.outlook(view, now_utc_s, units) if seen.is_live else "",
        ahead.lines(agenda(view, now_utc_s), now_utc_s, units),
        estimate if view.readings and now_utc_s >= batch.pitched_utc_s else "",
        ahead.hop_words(view, now_utc_s, units),
        tuple((each, ahead.ticked_words(each, now_utc_s, units)) for each in ticked),
        store.plan(batch.id),
    )


def of_all(views: Sequence[BatchView], now_utc_s: float, units: Units) -> tuple[Line, ...]:
    """One list across batches."""
    return ahead.lines(agenda_of_all(views, now_utc_s), now_utc_s, units)


def found(view: BatchView, now_utc_s: float, key: str) -> Item | None:
    """The item of this name, if it is still to be done."""
    return next((each for each in agenda(view, now_utc_s) if each.key == key), None)
