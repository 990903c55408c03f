"""Notes of a batch: what is kept, what is asked about, what its history says."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.facts import Batch, By, Change, Did, GravityReading, GravityUnit, Note, NoteKind
from dashboard.sheet.notes import (
    KINDS,
    NOTE_CHARACTERS_MAX,
    UNDO_S_MAX,
    Hops,
    history,
    hops_of,
    note_entry,
    undoable,
)
from dashboard.sheet.units import TemperatureUnit, Units

ZONE = ZoneInfo("Europe/Stockholm")
UNITS = Units(zone=ZONE)
NOW = datetime(2026, 1, 15, 21, 30, tzinfo=ZONE).timestamp()
BATCH = Batch(4, "left", "Pale", NOW - 2 * 86_400, 1.052, 1.012, 23.0, "kveik")
IN, OUT = NoteKind.DRY_HOP_IN, NoteKind.DRY_HOP_OUT
TYPED = {"kind": "dry-hop-in", "at": "2026-01-15T21:20", "text": " 60 g\r\nin a bag "}


def note(kind: NoteKind, hours_ago: float, text: str = "") -> Note:
    return Note(1, BATCH.id, NOW - hours_ago * 3600, kind, text)


def filled(others=(), **more):
    return note_entry(TYPED | more, BATCH, others, NOW, UNITS)


def test_every_kind_has_its_words():
    assert set(KINDS) == set(NoteKind)
    assert all(words.title and words.mark for words in KINDS.values())


def test_a_note_is_kept_as_typed():
    assert filled().value == Note(0, 4, NOW - 600, IN, "60 g\nin a bag")


@pytest.mark.parametrize(
    ("field", "text", "hint"),
    [
        ("kind", "barrel", "Choose"),
        ("at", "", "date"),
        ("at", "2026-01-16T21:20", "future"),
        ("at", "2026-01-01T21:20", "before this batch"),
        ("text", "x" * (NOTE_CHARACTERS_MAX + 1), "within"),
    ],
)
def test_what_cannot_be_meant_is_refused_beside_its_field_and_not_lost(field, text, hint):
    refused = filled(**{field: text})
    assert set(refused.errors) == {field} and hint in refused.errors[field]
    assert refused.typed[field] == text


@pytest.mark.parametrize("kind", ["tasting", "note", "pitch"])
def test_a_note_that_is_nothing_but_words_needs_some(kind):
    assert filled(kind=kind, text=" \n ").errors == {"text": "Type what there is to say."}
    assert filled(kind="dry-hop-in", text="").value is not None


def test_hops_out_that_were_never_in_are_asked_about_once():
    assert "No dry hops were in" in filled(kind="dry-hop-out").doubts[0]
    assert filled(kind="dry-hop-out", sure="yes").value is not None
    assert filled((note(IN, 40),), kind="dry-hop-out").value is not None
    assert filled((note(IN, 40), note(OUT, 3)), kind="dry-hop-out").doubts


def test_a_button_pressed_twice_is_asked_about():
    first = filled().value
    assert filled((first,)).doubts == ("This note is already in the list.",)
    assert filled((replace(first, text="other"),)).value is not None


def test_hops_go_in_one_after_another_and_come_out_together():
    notes = (note(OUT, 10), note(IN, 60), note(IN, 50), note(IN, 5))
    first, second, third = (NOW - hours * 3600 for hours in (60, 50, 5))
    out = NOW - 10 * 3600
    assert hops_of(notes) == (Hops(first, out), Hops(second, out), Hops(third))
    assert hops_of((note(OUT, 1),)) == ()


READING = GravityReading(7, 4, NOW - 7200, 1.031, GravityUnit.SG, 34.0)


def change(number: int, did: Did, hours_ago: float = 1.0, **more) -> Change:
    before = None if did is Did.WRITTEN else READING
    return Change(number, 4, By("anna", NOW - hours_ago * 3600), did, before, READING, **more)


def test_what_one_press_takes_back_is_the_newest_that_stands():
    written, struck = change(1, Did.WRITTEN), change(2, Did.STRUCK)
    assert undoable((struck, written), NOW) is struck
    undone = (change(3, Did.UNDONE), replace(struck, is_undone=True), written)
    assert undoable(undone, NOW) is written
    assert undoable((), NOW) is None


def test_what_is_older_than_a_day_is_not_taken_back_by_one_press():
    old = change(1, Did.WRITTEN, UNDO_S_MAX / 3600 + 0.01)
    assert undoable((old,), NOW) is None
    assert undoable((change(2, Did.STRUCK, 25), change(1, Did.WRITTEN, 26)), NOW) is None


def test_the_history_reads_as_sentences_in_the_readers_units():
    changes = (change(2, Did.CHANGED, is_undone=True), change(1, Did.WRITTEN))
    corrected, written = history(changes, NOW, UNITS)
    assert corrected.text.replace("\u00a0", " ") == (
        "Corrected what was gravity 1.031 SG at 34.0 °C of 19:30; since taken back."
    )
    assert (written.who, written.utc_s) == ("anna", NOW - 3600)
    (line, _) = history(changes, NOW, Units(TemperatureUnit.FAHRENHEIT, zone=ZONE))
    assert "93.2\u00a0°F" in line.text


def test_a_long_note_is_cut_in_the_history():
    long = note(NoteKind.TASTING, 1, "very\ngood " * 50)
    (line,) = history((Change(1, 4, By("", NOW), Did.WRITTEN, None, long),), NOW, UNITS)
    assert line.text.startswith("Wrote down tasted: very good very") and "… of 20:30." in line.text
