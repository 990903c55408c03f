"""What comes next, ticked off or put back, and what is meant with the hops.

That dry hops went in or came out is written down as a note as well, because everything that is
reckoned of hops rests on the notes; putting such an item back takes only the tick away, and the
note is corrected where notes are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dashboard.facts import Batch, Note, NoteKind, Plan, TickedOff
from dashboard.fermentation.advice.items import Item, Kind, Settled
from dashboard.sheet.forms import Filled, Reader, gravity_value
from dashboard.sheet.seen import Seen
from dashboard.web.ahead import found
from dashboard.web.pages import Pages

LIMIT_H_MIN, LIMIT_H_MAX = 1.0, 720.0  # Why: an hour's steep, and a month, which nobody means.
_NOTES = {Kind.DRY_HOP: NoteKind.DRY_HOP_IN, Kind.HOPS_OUT: NoteKind.DRY_HOP_OUT}


def settle(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/next"""
    seen, batch = _batch(pages, request, typed)
    key, how = typed.get("item", ""), typed.get("how", "")
    if how == "back":
        pages.store.put_back(batch.id, key)
        return _back(seen)
    now_utc_s = pages.now(seen)
    view = pages.foresight.view(batch, now_utc_s, seen.tick if seen.is_live else None)
    item = found(view, now_utc_s, key) if view else None
    if item is None or how not in {each.value for each in Settled}:
        raise HTTPException(409, "That is not among what comes next any more.")
    if how == Settled.DONE.value and item.kind in _NOTES:
        _write_down(pages, batch, item, now_utc_s)
    pages.store.tick_off(batch.id, TickedOff(key, how, item.title, pages.by()))
    return _back(seen)


def _write_down(pages: Pages, batch: Batch, item: Item, now_utc_s: float) -> None:
    at_utc_s = max(now_utc_s, batch.pitched_utc_s)
    pages.store.add_note(Note(0, batch.id, at_utc_s, _NOTES[item.kind]), pages.by())


def plan(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/plan"""
    seen, batch = _batch(pages, request, typed)
    filled = plan_entry(typed, batch, pages)
    if filled.value is None:
        return pages.chamber_again(seen, plan_form=filled)
    pages.store.set_plan(batch.id, filled.value)
    return _back(seen)


def plan_entry(typed: Mapping[str, str], batch: Batch, pages: Pages) -> Filled[Plan]:
    """What is meant with a batch's hops, and the end of a forced test."""
    reader = Reader(typed, pages.units)
    is_hopped = typed.get("hopped") == "yes"
    limit_h = reader.number("limit", "72")
    if "limit" not in reader.errors and not LIMIT_H_MIN <= limit_h <= LIMIT_H_MAX:
        reader.errors["limit"] = f"Type {LIMIT_H_MIN:.0f} to {LIMIT_H_MAX:.0f} hours."
    forced_sg: float | None = None
    if typed.get("forced", "").strip():
        forced_sg = gravity_value(reader, "forced", pages.units.gravity)
        if "forced" not in reader.errors and not forced_sg < batch.original_sg:
            reader.errors["forced"] = "It must lie below the original gravity."
    if reader.errors:
        return Filled(reader.typed, errors=reader.errors)
    assert math.isfinite(limit_h)
    return Filled(reader.typed, value=Plan(is_hopped, limit_h, forced_sg))


def _batch(pages: Pages, request: Request, typed: Mapping[str, str]) -> tuple[Seen, Batch]:
    seen = pages.look_up(request)
    if seen.batch is None or typed.get("batch") != str(seen.batch.id):
        raise HTTPException(409, "The batch changed while you looked.")
    return seen, seen.batch


def _back(seen: Seen) -> Response:
    return RedirectResponse(f"/chambers/{seen.chamber}#next", 303)
