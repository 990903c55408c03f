"""What is written of a batch is never lost: corrected, struck, taken back, with its history."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.errors import EntryError
from dashboard.facts import Batch, By, Did, GravityReading, GravityUnit, Note, NoteKind
from dashboard.keeping.database import migrations
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S

HOUR_S = 3600.0


@pytest.fixture
def store(tmp_path):
    opened = Store.open(tmp_path / "store.db")
    yield opened
    opened.close()


@pytest.fixture
def batch(store):
    return store.add_batch(
        Batch(0, "cellar", "Winter one", START_UTC_S, 1.052, 1.010, 20.0, "kveik")
    )


def hops_in(batch: Batch, hours: float = 30.0) -> Note:
    return Note(0, batch.id, START_UTC_S + hours * HOUR_S, NoteKind.DRY_HOP_IN, "60 g in a bag")


def reading(batch: Batch, entered: float = 1.031) -> GravityReading:
    taken = START_UTC_S + 20 * HOUR_S
    return GravityReading(0, batch.id, taken, entered, GravityUnit.SG, 34.0, 20.0, "cloudy")


def by(hours: float, who: str = "anna") -> By:
    return By(who, START_UTC_S + hours * HOUR_S)


def test_notes_come_back_in_the_order_of_their_moments(store, batch):
    out = store.add_note(Note(0, batch.id, START_UTC_S + 9, NoteKind.DRY_HOP_OUT), by(1))
    first = store.add_note(Note(0, batch.id, START_UTC_S + 3, NoteKind.NOTE, "ræv"), by(2))
    assert store.notes(batch.id) == (first, out)
    assert store.notes(batch.id + 1) == ()


def test_a_correction_keeps_what_stood_before_with_who_and_when(store, batch):
    kept = store.add_gravity(reading(batch), by(20))
    store.change_gravity(replace(kept, entered=1.013, sample_c=31.0), by(21, "ben"))
    (standing,) = store.gravities(batch.id)
    assert (standing.entered, standing.sample_c, standing.note) == (1.013, 31.0, "cloudy")
    changed, written = store.changes(batch.id)
    assert (changed.did, changed.by, changed.before) == (Did.CHANGED, by(21, "ben"), kept)
    assert (written.did, written.by, written.before) == (Did.WRITTEN, by(20), None)


def test_a_struck_entry_is_gone_from_the_list_and_stands_in_the_history(store, batch):
    kept = store.add_note(hops_in(batch), by(30))
    store.strike_note(kept.id, by(31))
    assert store.notes(batch.id) == ()
    assert store.changes(batch.id)[0].before == kept
    with pytest.raises(EntryError, match="no note"):
        store.strike_note(kept.id, by(32))
    with pytest.raises(EntryError, match="no note"):
        store.change_note(kept, by(32))


def test_undo_takes_back_the_newest_first_and_each_only_once(store, batch):
    kept = store.add_note(hops_in(batch), by(30))
    store.change_note(replace(kept, text="70 g"), by(31))
    store.strike_note(kept.id, by(32))
    struck, changed, written = store.changes(batch.id)
    with pytest.raises(EntryError, match="newest"):
        store.undo(batch.id, changed.id, by(33))
    assert store.undo(batch.id, struck.id, by(33)).did is Did.STRUCK
    assert store.notes(batch.id)[0].text == "70 g"
    store.undo(batch.id, changed.id, by(34))
    assert store.notes(batch.id) == (kept,)
    store.undo(batch.id, written.id, by(35))
    assert store.notes(batch.id) == ()
    with pytest.raises(EntryError, match="newest"):
        store.undo(batch.id, written.id, by(36))
    assert [each.is_undone for each in store.changes(batch.id)] == [False] * 3 + [True] * 3
    assert len(store.changes(batch.id)) == 6


def test_an_entry_cannot_wander_into_another_batch(store, batch):
    other = store.add_batch(replace(batch, chamber="shed"))
    kept = store.add_note(hops_in(batch), by(30))
    with pytest.raises(EntryError, match="no note"):
        store.change_note(replace(kept, batch_id=other.id), by(31))
    assert store.notes(batch.id) == (kept,) and len(store.changes(batch.id)) == 1


@pytest.mark.parametrize(
    "refused",
    [
        lambda s, b: s.add_note(replace(hops_in(b), batch_id=99), by(1)),
        lambda s, b: s.add_note(replace(hops_in(b), text="x" * 2001), by(1)),
        lambda s, b: s.add_note(hops_in(b), By("x" * 201, 1.0)),
        lambda s, b: s.undo(b.id, 1, by(1)),
    ],
)
def test_what_cannot_be_kept_leaves_nothing_behind(store, batch, refused):
    with pytest.raises(EntryError):
        refused(store, batch)
    assert store.notes(batch.id) == () and store.changes(batch.id) == ()


def test_a_store_of_the_first_release_keeps_its_readings(tmp_path):
    path = tmp_path / "old.db"
    old = sqlite3.connect(path)
    old.executescript(migrations()[0][1])
    old.executescript(
        "INSERT INTO chambers (id, name) VALUES (1, 'cellar');"
        "INSERT INTO batches VALUES (1, 1, 'Old', 1.0, 1.05, 1.01, 20, 'kveik', NULL);"
        "INSERT INTO gravities VALUES (1, 1, 2.0, 1.04, 'sg', 20, 20, '');"
        "PRAGMA application_id = 1111577165; PRAGMA user_version = 1;"
    )
    old.close()
    store = Store.open(path)
    (kept,) = store.gravities(1)
    assert kept.entered == 1.04 and store.changes(1) == ()
    store.strike_gravity(kept.id, By("", 3.0))
    store.undo(1, store.changes(1)[0].id, By("", 4.0))
    assert store.gravities(1) == (kept,)
    store.close()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(["add", "change", "strike", "undo"]), max_size=25))
def test_undoing_everything_leads_back_through_every_state(tmp_path_factory, deeds):
    store = Store.open(tmp_path_factory.mktemp("undo") / "store.db")
    of = store.add_batch(Batch(0, "cellar", "One", START_UTC_S, 1.05, 1.01, 20.0, "kveik"))
    past = [()]
    for number, deed in enumerate(deeds):
        standing = store.notes(of.id)
        if deed == "add":
            store.add_note(hops_in(of), by(number))
        elif deed == "change" and standing:
            store.change_note(replace(standing[-1], text=f"{number} g"), by(number))
        elif deed == "strike" and standing:
            store.strike_note(standing[0].id, by(number))
        elif deed == "undo" and len(past) > 1:
            _undo(store, of, number)
            past.pop()
            assert store.notes(of.id) == past[-1]
            continue
        else:
            continue
        past.append(store.notes(of.id))
    while len(past) > 1:
        _undo(store, of, 99)
        past.pop()
        assert store.notes(of.id) == past[-1]
    store.close()


def _undo(store: Store, of: Batch, hours: float) -> None:
    newest = next(
        each for each in store.changes(of.id) if each.did is not Did.UNDONE and not each.is_undone
    )
    store.undo(of.id, newest.id, by(hours))
