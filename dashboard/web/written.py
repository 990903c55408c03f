"""The notes on a chamber's page: fetches them, and the entry that one press would take back."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.facts import Note
from dashboard.sheet import notes
from dashboard.sheet.units import Units
from dashboard.store import Store

KIND_OPTIONS = tuple((kind.value, word.title) for kind, word in notes.KINDS.items())


@dataclass(frozen=True, slots=True)
class Written:
    """What the template needs. `undo_id` is None when there is nothing to take back."""

    notes: tuple[tuple[Note, str], ...] = ()
    kinds: tuple[tuple[str, str], ...] = KIND_OPTIONS
    undo_id: int | None = None
    undo_text: str = ""


def written(
    store: Store, batch_id: int, clock_utc_s: float, now_utc_s: float, units: Units
) -> Written:
    """The notes of a batch, newest first, each with its kind in words."""
    kept = tuple((each, notes.KINDS[each.kind].title) for each in store.notes(batch_id)[::-1])
    undo = notes.undoable(store.changes(batch_id), clock_utc_s)
    if undo is None:
        return Written(kept)
    (line,) = notes.history((undo,), now_utc_s, units)
    return Written(kept, undo_id=undo.id, undo_text=line.text)
