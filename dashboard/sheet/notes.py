"""What is written of a batch beside its gravities: its form, its words, and the history of both.

A note's amounts stay in its text, because nobody measures hops and oxygen in the same way. It
refuses what cannot be meant, asks once about what is unlikely, and stores nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dashboard.facts import Batch, Change, Did, GravityReading, Note, NoteKind
from dashboard.sheet import words
from dashboard.sheet.entries import BEFORE_PITCH_S_MAX
from dashboard.sheet.forms import FUTURE_S_MAX, Filled, Reader
from dashboard.sheet.readings import entered_text
from dashboard.sheet.units import Units

# Why: each character may take 12 bytes of a form, and a form is at most 16 kB long.
NOTE_CHARACTERS_MAX = 1000
UNDO_S_MAX = 86_400.0  # Why: what is older is corrected on its own page, with a second look.
SAME_S = 120.0  # Why: a button pressed twice; nobody hops twice within two minutes.
SHOWN_CHARACTERS_MAX = 60  # Why: a line of the history; the whole text is on the entry's page.


@dataclass(frozen=True, slots=True)
class KindWords:
    """How one kind of note is called in the form and on the curve, and whether it needs a text."""

    title: str
    mark: str
    needs_text: bool = False


KINDS: dict[NoteKind, KindWords] = {
    NoteKind.DRY_HOP_IN: KindWords("Dry hops in", "hops in"),
    NoteKind.DRY_HOP_OUT: KindWords("Dry hops out", "hops out"),
    NoteKind.PITCH: KindWords("How much yeast was pitched", "yeast", needs_text=True),
    NoteKind.OXYGEN: KindWords("Oxygen", "oxygen"),
    NoteKind.NUTRIENT: KindWords("Nutrient", "nutrient"),
    NoteKind.TASTING: KindWords("Tasted", "tasted", needs_text=True),
    NoteKind.NOTE: KindWords("Other", "note", needs_text=True),
}


@dataclass(frozen=True, slots=True)
class Hops:
    """One addition of dry hops; `out_utc_s` is None while they are in."""

    in_utc_s: float
    out_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the history: when, by whom (empty: nobody was asked), and what was done."""

    utc_s: float
    who: str
    text: str


def hops_of(notes: Sequence[Note]) -> tuple[Hops, ...]:
    """The additions of dry hops, oldest first. Taking hops out takes out all that were in."""
    found: list[Hops] = []
    for note in sorted(notes, key=lambda each: each.at_utc_s):
        if note.kind is NoteKind.DRY_HOP_IN:
            found.append(Hops(note.at_utc_s))
        elif note.kind is NoteKind.DRY_HOP_OUT:
            found = [
                Hops(each.in_utc_s, note.at_utc_s) if each.out_utc_s is None else each
                for each in found
            ]
    return tuple(found)


def note_entry(
    typed: Mapping[str, str],
    batch: Batch,
    others: Sequence[Note],
    now_utc_s: float,
    units: Units,
) -> Filled[Note]:
    """A note of this batch; `others` are those it has, without the one that is corrected."""
    reader = Reader(typed, units)
    kind = _kind(reader)
    at_utc_s = reader.moment(
        "at", now_utc_s + FUTURE_S_MAX, "That is in the future. Look at the date and the time."
    )
    if at_utc_s < batch.pitched_utc_s - BEFORE_PITCH_S_MAX:
        reader.errors["at"] = "That is more than a day before this batch was pitched."
    text = reader.typed.get("text", "").replace("\r\n", "\n").strip()
    if len(text) > NOTE_CHARACTERS_MAX:
        reader.errors["text"] = f"Keep it within {NOTE_CHARACTERS_MAX} characters."
    if kind is not None and KINDS[kind].needs_text and not text:
        reader.errors["text"] = "Type what there is to say."
    if reader.errors or kind is None:
        return Filled(reader.typed, errors=reader.errors)
    note = Note(0, batch.id, at_utc_s, kind, text)
    odd = _doubts(note, others)
    if odd and typed.get("sure") != "yes":
        return Filled(reader.typed, doubts=odd)
    return Filled(reader.typed, value=note)


def _kind(reader: Reader) -> NoteKind | None:
    try:
        return NoteKind(reader.typed.get("kind", ""))
    except ValueError:
        reader.errors["kind"] = "Choose what it is about."
        return None


def _doubts(note: Note, others: Sequence[Note]) -> tuple[str, ...]:
    for each in others:
        is_same = (each.kind, each.text) == (note.kind, note.text)
        if is_same and abs(each.at_utc_s - note.at_utc_s) < SAME_S:
            return ("This note is already in the list.",)
    if note.kind is NoteKind.DRY_HOP_OUT:
        before = [each for each in others if each.at_utc_s <= note.at_utc_s]
        if all(each.out_utc_s is not None for each in hops_of(before)):
            return ("No dry hops were in then. Were they never written down?",)
    return ()


def undoable(changes: Sequence[Change], now_utc_s: float) -> Change | None:
    """The change that one press takes back: the newest that stands, while it is a day old at most.

    `changes` are the newest first.
    """
    for change in changes:
        if change.did is not Did.UNDONE and not change.is_undone:
            return change if now_utc_s - change.by.utc_s <= UNDO_S_MAX else None
    return None


def named(entry: Note | GravityReading, units: Units) -> str:
    """An entry in a few words: `gravity 1.031 SG`, `dry hops in: 60 g`."""
    if isinstance(entry, GravityReading):
        return f"gravity {entered_text(entry)} at {words.temperature(entry.sample_c, units)}"
    title = KINDS[entry.kind].title
    title = title[0].lower() + title[1:]
    text = " ".join(entry.text.split())
    if len(text) > SHOWN_CHARACTERS_MAX:
        text = f"{text[:SHOWN_CHARACTERS_MAX]}…"
    return f"{title}: {text}" if text else title


def moment_of(entry: Note | GravityReading) -> float:
    """When it was done or taken, UTC seconds."""
    return entry.taken_utc_s if isinstance(entry, GravityReading) else entry.at_utc_s


def history(changes: Sequence[Change], now_utc_s: float, units: Units) -> tuple[Line, ...]:
    """What was done to the entries, in the order of `changes`."""
    return tuple(
        Line(each.by.utc_s, each.by.who, _said(each, now_utc_s, units)) for each in changes
    )


def _said(change: Change, now_utc_s: float, units: Units) -> str:
    entry = change.before or change.now
    when = words.moment(moment_of(entry), now_utc_s, units.zone)
    what = f"{named(entry, units)} of {when}"
    sentence = {
        Did.WRITTEN: f"Wrote down {what}",
        Did.CHANGED: f"Corrected what was {what}",
        Did.STRUCK: f"Struck out {what}",
        Did.UNDONE: f"Took back a change to {what}",
    }[change.did]
    return f"{sentence}; since taken back." if change.is_undone else f"{sentence}."
