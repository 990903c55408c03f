"""Notes of a batch: writing one down, correcting or striking any entry, taking back the newest.

A form that cannot be kept comes back as it was typed (status 422); an accepted one answers with a
redirect. An entry of another batch than the one in the chamber is refused: the page was made before
the batch changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dashboard.errors import EntryError
from dashboard.facts import Batch, GravityReading, Note
from dashboard.sheet import entries, notes, words
from dashboard.sheet.forms import Filled
from dashboard.sheet.seen import Seen
from dashboard.web.pages import Pages
from dashboard.web.written import KIND_OPTIONS


def write(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/notes"""
    seen, batch = _batch(pages, request)
    if typed.get("batch") != str(batch.id):
        raise HTTPException(409, "The batch changed while you typed.")
    others = pages.store.notes(batch.id)
    filled = notes.note_entry(typed, batch, others, pages.now(seen), pages.units)
    if filled.value is None:
        return pages.chamber_again(seen, filled)
    pages.store.add_note(filled.value, pages.by())
    return _back(seen, "notes")


def undo(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/undo: the newest entry, correction or strike."""
    seen, batch = _batch(pages, request)
    offered = notes.undoable(pages.store.changes(batch.id), pages.clock())
    if offered is None or typed.get("change") != str(offered.id):
        raise HTTPException(409, "That is not the newest entry any more.")
    try:
        pages.store.undo(batch.id, offered.id, pages.by())
    except EntryError as error:
        raise HTTPException(409, error.what) from error
    return _back(seen, "gravity" if isinstance(offered.now, GravityReading) else "notes")


def show(pages: Pages, request: Request) -> Response:
    """GET /chambers/{name}/entries/{kind}/{entry}"""
    seen, batch = _batch(pages, request)
    entry = _entry(pages, request, batch)
    return _page(pages, seen, entry, Filled(_typed_of(pages, entry)))


def correct(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/entries/{kind}/{entry}"""
    seen, batch = _batch(pages, request)
    entry = _entry(pages, request, batch)
    filled = _filled(pages, seen, batch, entry, typed)
    if filled.value is None:
        return _page(pages, seen, entry, filled, 422)
    if isinstance(filled.value, Note):
        pages.store.change_note(replace(filled.value, id=entry.id), pages.by())
    else:
        pages.store.change_gravity(replace(filled.value, id=entry.id), pages.by())
    return _back(seen, _kind_of(entry))


def strike(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/entries/{kind}/{entry}/strike"""
    seen, batch = _batch(pages, request)
    entry = _entry(pages, request, batch)
    if isinstance(entry, Note):
        pages.store.strike_note(entry.id, pages.by())
    else:
        pages.store.strike_gravity(entry.id, pages.by())
    return _back(seen, _kind_of(entry))


def _filled(
    pages: Pages,
    seen: Seen,
    batch: Batch,
    entry: Note | GravityReading,
    typed: Mapping[str, str],
) -> Filled[Any]:
    """The corrected entry, judged beside all the others."""
    now, units = pages.now(seen), pages.units
    if isinstance(entry, Note):
        beside = [each for each in pages.store.notes(batch.id) if each.id != entry.id]
        return notes.note_entry(typed, batch, beside, now, units)
    earlier = [each for each in pages.store.gravities(batch.id) if each.id != entry.id]
    return entries.gravity_entry(typed, batch, earlier, now, units)


def _typed_of(pages: Pages, entry: Note | GravityReading) -> dict[str, str]:
    """The form filled in with what stands there."""
    units = pages.units
    when = words.form_time(notes.moment_of(entry), units.zone)
    if isinstance(entry, Note):
        return {"kind": entry.kind.value, "at": when, "text": entry.text}
    return {
        "entered": f"{entry.entered:g}",
        "unit": entry.unit.value,
        "sample": words.typed(units.degrees(entry.sample_c)),
        "calibrated": words.typed(units.degrees(entry.calibrated_c)),
        "taken": when,
    }


def _page(
    pages: Pages,
    seen: Seen,
    entry: Note | GravityReading,
    form: Filled[Any],
    status: int = 200,
) -> Response:
    kind, now = _kind_of(entry), pages.now(seen)
    mine = [
        each
        for each in pages.store.changes(entry.batch_id)
        if each.now.id == entry.id and type(each.now) is type(entry)
    ]
    return pages.page(
        "entry.html",
        status,
        chamber=seen.chamber,
        path=f"/chambers/{seen.chamber}/entries/{kind}/{entry.id}",
        name=notes.named(entry, pages.units),
        is_note=isinstance(entry, Note),
        form=form,
        kinds=KIND_OPTIONS,
        lines=notes.history(mine, now, pages.units),
        now_utc_s=now,
    )


def _batch(pages: Pages, request: Request) -> tuple[Seen, Batch]:
    seen = pages.look_up(request)
    if seen.batch is None:
        raise HTTPException(409, "No batch is in this chamber any more.")
    return seen, seen.batch


def _entry(pages: Pages, request: Request, batch: Batch) -> Note | GravityReading:
    kind, entry_id = request.path_params["kind"], request.path_params["entry"]
    standing: tuple[Note | GravityReading, ...] = ()
    if kind == "notes":
        standing = pages.store.notes(batch.id)
    elif kind == "gravity":
        standing = pages.store.gravities(batch.id)
    for each in standing:
        if each.id == entry_id:
            return each
    raise HTTPException(409, "That entry is not in this batch any more.")


def _kind_of(entry: Note | GravityReading) -> str:
    """Its word in addresses, which is also its section of the chamber's page."""
    return "notes" if isinstance(entry, Note) else "gravity"


def _back(seen: Seen, section_id: str) -> Response:
    return RedirectResponse(f"/chambers/{seen.chamber}#{section_id}", 303)
