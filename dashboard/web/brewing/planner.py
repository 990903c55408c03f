"""The packaging day: which evening suits all running batches best, and what of a chosen one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from starlette.requests import Request
from starlette.responses import Response

from dashboard.fermentation.advice.planner import BatchOnDay, Day, packaging_days
from dashboard.sheet import spans, words
from dashboard.web.brewing import found as batches
from dashboard.web.pages import Pages

DAYS = 14  # Why: two weekends; a hot ferment is over within one week.


@dataclass(frozen=True, slots=True)
class Shown:
    """One day as it is shown: each batch with its chance and what its hops will have had."""

    value: str
    name: str
    sentence: str
    is_best: bool
    batches: tuple[tuple[str, str, str], ...]


def show(pages: Pages, request: Request) -> Response:
    """GET /packaging-day, with `day=2026-01-31` for one day."""
    running = batches.running(pages)
    now_utc_s = max((each.now_utc_s for each in running), default=pages.clock())
    zone = words.zone_of(now_utc_s, pages.units.zone)
    views = [each.view for each in running if each.view is not None]
    days = packaging_days(views, now_utc_s, DAYS, zone) if views else ()
    shown = tuple(_shown(each) for each in days)
    asked = request.query_params.get("day", "")
    chosen = next((each for each in shown if each.value == asked), None)
    best = next((each for each in shown if each.is_best), None)
    return pages.page("packaging_day.html", days=shown, chosen=chosen, best=best)


def _shown(day: Day) -> Shown:
    rows = tuple((each.batch_name, words.percent(each.ready), _hops(each)) for each in day.batches)
    return Shown(day.day.isoformat(), named(day.day), day.sentence, day.is_best, rows)


def named(day: date) -> str:
    """`Saturday 31 January`."""
    return f"{day:%A} {day.day} {day:%B}"


def _hops(batch: BatchOnDay) -> str:
    if batch.hops_h is None:
        return "none in"
    over = batch.over_limit_h
    late = f", {spans.hours(over)} too long" if over > 0 else ""
    return f"in for {spans.hours(batch.hops_h)}{late}"
