"""A new batch for a chamber, and the wish that its controller follow the procedure of its yeast.

The batch before ends when this one is pitched. What is written down is kept whether or not the
controller could be asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from controller.wire import Tick
from dashboard.errors import EntryError
from dashboard.facts import Batch
from dashboard.fermentation.strains import Strain, strain, strains
from dashboard.sheet import entries, reach, words
from dashboard.sheet.forms import Filled
from dashboard.sheet.seen import Seen
from dashboard.sheet.units import Units
from dashboard.web.ordering import procedure_text
from dashboard.web.pages import Pages


def show(pages: Pages, request: Request) -> Response:
    """GET /chambers/{name}/batch"""
    return _page(pages, pages.look_up(request), Filled({}))


def write(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/batch"""
    seen = pages.look_up(request)
    filled = entries.batch_entry(typed, seen.chamber, strains(), pages.now(seen), pages.units)
    if filled.value is not None and seen.batch is not None:
        filled = _after(filled, seen.batch)
    if filled.value is None:
        return _page(pages, seen, filled, 422)
    if seen.batch is not None:
        pages.store.end_batch(seen.batch.id, filled.value.pitched_utc_s)
    batch = pages.store.add_batch(filled.value)
    if typed.get("follow") == "yes":
        return _let_follow(pages, seen, batch)
    return RedirectResponse(f"/chambers/{seen.chamber}", 303)


def _let_follow(pages: Pages, seen: Seen, batch: Batch) -> Response:
    """Ask the controller to follow the procedure of the batch's kind of yeast."""
    wish = {
        "batch": batch.name,
        "procedure": procedure_text(strain(batch.strain).procedure),
        "pitched_utc_s": batch.pitched_utc_s,
    }
    try:
        if not seen.is_live:
            raise EntryError("Its controller is not heard.", "Ask it when it is heard again.")
        pages.orders.give(batch.chamber, "begin", pages.by().who, wish)
    except EntryError as error:
        return pages.refusal(503, f"The batch is written down. {error.what}", error.remedy)
    return RedirectResponse(f"/chambers/{batch.chamber}#asked", 303)


def _page(pages: Pages, seen: Seen, form: Filled[Batch], status: int = 200) -> Response:
    return pages.page(
        "batch.html",
        status,
        chamber=seen.chamber,
        running=seen.batch,
        form=form,
        is_heard=seen.is_live,
        strains=[(each, _told_of(each, seen.tick, pages.units)) for each in strains()],
        reach=reach.sentences(seen.tick, pages.units),
        form_now=words.form_time(pages.now(seen), pages.units.zone),
    )


def _told_of(kind: Strain, tick: Tick | None, units: Units) -> str:
    """What a kind of yeast does, and how cold a garage this pad can keep it warm in."""
    return f"{entries.suggestion(kind)}, {reach.of_kind(tick, kind, units)}"


def _after(filled: Filled[Batch], before: Batch) -> Filled[Batch]:
    """The same form, refused when its batch was pitched before the one it follows."""
    assert filled.value is not None
    if filled.value.pitched_utc_s >= before.pitched_utc_s:
        return filled
    message = f"That is before {before.name}, which is in this chamber now, was pitched."
    return replace(filled, value=None, errors={"pitched": message})
