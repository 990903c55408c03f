"""What comes next, told when its time has come: once, and not when it is done."""

from __future__ import annotations

import pytest

from dashboard.facts import By, Note, NoteKind, TickedOff
from dashboard.foresight import Foresight
from dashboard.live import LiveHub
from dashboard.notify.news import State
from dashboard.reminders import Reminders
from dashboard.store import Store
from tests.browser.states import NOW_UTC_S, Scene, hopped, to_be_hopped


@pytest.fixture
def scene(tmp_path):
    made = Scene(Store.open(tmp_path / "store.sqlite"), LiveHub())
    yield made
    made.store.close()


def told(scene: Scene) -> dict[str, object]:
    source = Reminders(scene.store, scene.hub, Foresight(scene.store))
    return {each.origin: each for each in source(scene.now_utc_s)}


def test_hops_past_their_limit_are_told_with_how_long(scene):
    hopped(scene)
    (found,) = [each for key, each in told(scene).items() if "hops-out" in key]
    assert (found.state, found.priority, found.chamber) == (State.RAISED, "medium", "garage-left")
    assert found.text.startswith("Farmhouse pale: take the hops out. By ")
    assert "7 h too long; the limit set is 48 h." in found.remedy
    # The limit was reached 7 h ago; a day later would come the next and last alert.
    assert found.true_utc_s == NOW_UTC_S - 7 * 3600 and found.origin.endswith("/1")


def test_the_same_reminder_has_the_same_name_after_a_restart(scene):
    hopped(scene)
    assert told(scene).keys() == told(scene).keys() != set()


def test_what_lies_ahead_is_not_told_yet(scene):
    to_be_hopped(scene)
    assert [key for key in told(scene) if "dry-hop" in key or "package" in key] == []


def test_what_is_done_or_ticked_off_is_not_told(scene):
    hopped(scene)
    terminal = next(key for key in told(scene) if "terminal" in key)
    item = terminal.split("/")[1]
    by = By("", NOW_UTC_S)
    scene.store.tick_off(1, TickedOff(item, "done", "Terminal gravity", by))
    scene.store.add_note(Note(0, 1, NOW_UTC_S, NoteKind.DRY_HOP_OUT), by)
    assert not [key for key in told(scene) if "terminal" in key or "hops-out" in key]


def test_a_batch_that_ended_is_left_in_peace(scene):
    hopped(scene)
    scene.store.end_batch(1, NOW_UTC_S)
    assert told(scene) == {}
