"""Notes, corrections and undo through the pages, over a real store."""

from __future__ import annotations

import pytest

from dashboard.facts import Did, NoteKind
from dashboard.live import LiveHub
from dashboard.store import Store
from tests.browser.states import NOW_UTC_S, Scene, holding, new_chamber
from tests.dashboard.web.test_app import GRAVITY, OWN, client_of

CHAMBER = "/chambers/garage-left"
HOPS = {"batch": "1", "kind": "dry-hop-in", "at": "2026-01-14T23:30", "text": "60 g <in> a bag"}


@pytest.fixture
def scene(tmp_path):
    made = Scene(Store.open(tmp_path / "store.sqlite"), LiveHub())
    holding(made)
    yield made
    made.store.close()


def post(scene: Scene, path: str, **typed: str):
    return client_of(scene).post(CHAMBER + path, data=typed, headers=OWN)


def page(scene: Scene, path: str = "") -> str:
    return client_of(scene).get(CHAMBER + path).text


def test_hops_are_noted_shown_marked_on_the_curve_and_taken_back(scene):
    answer = post(scene, "/notes", **HOPS)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{CHAMBER}#notes")
    (kept,) = scene.store.notes(1)
    assert (kept.kind, kept.at_utc_s) == (NoteKind.DRY_HOP_IN, NOW_UTC_S - 1800)
    text = page(scene)
    assert "Dry hops in: <span" in text and "60 g &lt;in&gt; a bag" in text
    assert "<title>hops in: 60 g &lt;in&gt; a bag</title>" in text
    assert "Wrote down dry hops in: 60 g &lt;in&gt; a bag of Wednesday 23:30." in text
    newest = scene.store.changes(1)[0]
    assert post(scene, "/undo", change=str(newest.id)).status_code == 303
    assert scene.store.notes(1) == ()
    assert "hops in</title>" not in page(scene)


def test_an_undo_of_what_is_no_longer_the_newest_is_refused(scene):
    post(scene, "/notes", **HOPS)
    newest = scene.store.changes(1)[0]
    assert post(scene, "/gravity", **GRAVITY | {"entered": "2.4"}).status_code == 303
    assert post(scene, "/undo", change=str(newest.id)).status_code == 409
    assert len(scene.store.notes(1)) == 1


def test_a_note_that_cannot_be_kept_comes_back_as_it_was_typed(scene):
    answer = post(scene, "/notes", **HOPS | {"kind": "tasting", "text": "  ", "at": "soon"})
    assert answer.status_code == 422 and scene.store.notes(1) == ()
    assert "Type what there is to say." in answer.text and 'value="soon"' in answer.text


def test_a_note_is_corrected_and_its_page_tells_its_history(scene):
    post(scene, "/notes", **HOPS)
    path = "/entries/notes/1"
    assert "60 g &lt;in&gt; a bag</textarea>" in page(scene, path)
    answer = post(scene, path, **HOPS | {"kind": "dry-hop-in", "text": "70 g"})
    assert answer.headers["location"] == f"{CHAMBER}#notes"
    assert scene.store.notes(1)[0].text == "70 g"
    text = page(scene, path)
    assert "Corrected what was dry hops in: 60 g" in text and "Wrote down" in text
    assert post(scene, f"{path}/strike").status_code == 303
    assert scene.store.notes(1) == ()
    assert client_of(scene).get(CHAMBER + path).status_code == 409


def test_a_gravity_is_corrected_the_same_way_and_judged_beside_the_others(scene):
    first, *_ = scene.store.gravities(1)
    path = f"/entries/gravity/{first.id}"
    assert 'value="1.051"' in page(scene, path)
    typed = GRAVITY | {
        "entered": "1.0505",
        "unit": "sg",
        "sample": "21",
        "taken": "2026-01-12T12:30",
    }
    assert post(scene, path, **typed | {"entered": "10.5"}).status_code == 422
    assert post(scene, path, **typed).headers["location"] == f"{CHAMBER}#gravity"
    assert scene.store.gravities(1)[0].entered == 1.0505
    change = scene.store.changes(1)[0]
    assert (change.did, change.before) == (Did.CHANGED, first)
    assert post(scene, f"{path}/strike").status_code == 303
    assert len(scene.store.gravities(1)) == 3


@pytest.mark.parametrize("path", ["/entries/notes/99", "/entries/gravity/99", "/entries/beer/1"])
def test_an_entry_that_is_not_there_is_refused_in_words(scene, path):
    for answer in (client_of(scene).get(CHAMBER + path), post(scene, path, **HOPS)):
        assert answer.status_code == 409 and "not in this batch any more" in answer.text


def test_a_note_for_a_batch_that_is_gone_is_refused(scene):
    assert post(scene, "/notes", **HOPS | {"batch": "99"}).status_code == 409


def test_a_chamber_without_a_batch_has_no_notes(tmp_path):
    made = Scene(Store.open(tmp_path / "other.sqlite"), LiveHub())
    new_chamber(made)
    assert 'id="notes"' not in page(made)
    assert post(made, "/notes", **HOPS).status_code == 409
    made.store.close()
