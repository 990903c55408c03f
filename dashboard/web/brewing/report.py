"""The report of a batch: everything there is to keep of it, as a page that prints well and as one
file that needs no dashboard.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from dashboard.facts import NoteKind
from dashboard.fermentation.attenuation import attenuation, energy_kcal
from dashboard.sheet import accounted, ahead, readings, words
from dashboard.sheet.notes import KINDS
from dashboard.sheet.units import Units
from dashboard.web import look
from dashboard.web.brewing import found as batches
from dashboard.web.brewing.comparison import kind_name
from dashboard.web.brewing.found import Found
from dashboard.web.curve import whole_batch
from dashboard.web.pages import Pages
from dashboard.web.render import STATIC

EVENTS_MAX = 200  # Why: a printed page holds fifty; more than four pages are read by nobody.
GLASS_ML = 330.0  # Why: a small bottle, in which energy is usually told.
_NOT_FOR_NAMES = re.compile(r"[^A-Za-z0-9]+")


def show(pages: Pages, request: Request) -> Response:
    """GET /batches/{batch}"""
    found = batches.named(pages, request)
    return pages.page("report.html", **_values(pages, found))


def download(pages: Pages, request: Request) -> Response:
    """GET /batches/{batch}/report.html: the same as one file."""
    found = batches.named(pages, request)
    answer = pages.page("report_file.html", css=_css(), **_values(pages, found))
    name = _NOT_FOR_NAMES.sub("-", found.batch.name).strip("-").lower() or "batch"
    answer.headers["content-disposition"] = f'attachment; filename="{name}-{found.batch.id}.html"'
    return answer


def _values(pages: Pages, found: Found) -> dict[str, Any]:
    batch, units, store = found.batch, pages.units, pages.store
    notes = store.notes(batch.id)
    table = readings.rows(batch, store.gravities(batch.id), units)
    account = pages.foresight.account(batch, found.now_utc_s)
    seen = look.of_batch(batch, found.now_utc_s)
    return {
        "batch": batch,
        "kind": kind_name(batch),
        "now_utc_s": found.now_utc_s,
        "result": result(found, units),
        "told": accounted.told(account, batch, units),
        "hops": () if found.view is None else ahead.hop_words(found.view, found.now_utc_s, units),
        "curve": whole_batch(store, seen, units, found.view),
        "rows": table,
        "tastings": [each for each in notes if each.kind is NoteKind.TASTING],
        "notes": [(each, KINDS[each.kind].title) for each in notes],
        "events": look.shown_events(store, seen, EVENTS_MAX)[::-1],
        "ticked": [
            ahead.ticked_words(each, found.now_utc_s, units)
            for each in store.ticked_off(batch.id)[::-1]
        ],
    }


def result(found: Found, units: Units) -> str:
    """What came of the batch, or how far it is, in a sentence or two."""
    batch, view = found.batch, found.view
    days = words.day_number(found.now_utc_s, batch.pitched_utc_s)
    if view is None or not view.readings:
        return f"Day {days}; no gravity was read."
    last = view.readings[-1]
    made = attenuation(batch.original_sg, last.sg)
    kcal = energy_kcal(batch.original_sg, last.sg, GLASS_ML)
    how = "Ended" if batch.ended_utc_s is not None else "So far"
    proof = "proved to stand" if view.verdict.is_terminal else "not proved to stand"
    return (
        f"{how} on day {days}: from {words.gravity(batch.original_sg, units)} to"
        f" {words.gravity(last.sg, units)}, {proof}. {words.percent(made.apparent)} apparent"
        f" attenuation, {made.alcohol_by_volume * 100:.1f}\u00a0% alcohol by volume, about"
        f" {kcal:.0f} kcal in {GLASS_ML:.0f} ml."
    )


@cache
def _css() -> Markup:
    """Our own style sheet, to stand inside the file."""
    return Markup((STATIC / "sheet.css").read_text(encoding="utf-8"))  # noqa: S704 - our own file
