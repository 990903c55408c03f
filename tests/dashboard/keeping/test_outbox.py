"""The limits of what is kept for telling, and what happens at each."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboard.keeping import outbox
from dashboard.notify.decision import Outcome
from dashboard.notify.news import Message, State
from dashboard.store import Store
from tests.dashboard.lines import event
from tests.dashboard.notify.made import NOON, transition

MESSAGE = Message(0, NOON, "medium", "left: soon", "A.")


@pytest.fixture
def store(tmp_path):
    opened = Store.open(tmp_path / "store.db")
    yield opened
    opened.close()


def many(count: int):
    return [transition(f"alarm-{number}") for number in range(count)]


def told(store: Store, count: int, targets: tuple[str, ...] = ("phone",)) -> None:
    for number in range(count):
        made = replace(MESSAGE, made_utc_s=NOON + number)
        store.outbox.settle({}, [(made, False, ())], targets)


def test_events_are_looked_at_in_portions_and_each_leaves_the_queue_once(store, monkeypatch):
    monkeypatch.setattr(outbox, "HEEDED_MAX", 4)
    store.add([event(seq) for seq in range(1, 11)], NOON)
    store.commit()
    portions = []
    while heard := store.outbox.unheeded():
        portions.append([each.seq for _, each in heard])
        store.outbox.notice((), NOON, heard[-1][0])
    assert portions == [[1, 2, 3, 4], [5, 6, 7, 8], [9, 10]]
    store.add([event(3)], NOON)
    store.commit()
    assert store.outbox.unheeded() == (), "a line that was sent again is no news"


def test_the_same_transition_is_kept_once_however_often_it_is_handed_in(store):
    for _ in range(3):
        store.outbox.notice(many(5), NOON)
    assert len(store.outbox.waiting()) == 5
    store.outbox.settle({each.id: Outcome.SEEN for each in store.outbox.waiting()}, (), ())
    store.outbox.notice(many(5), NOON)
    assert store.outbox.waiting() == ()


def test_of_too_much_that_waits_the_oldest_is_let_go(store, monkeypatch):
    monkeypatch.setattr(outbox, "WAITING_MAX", 10)
    store.outbox.notice(many(25), NOON)
    waiting = store.outbox.waiting()
    assert [each.transition.thing for each in waiting] == [f"left/alarm-{i}" for i in range(15, 25)]


def test_what_is_due_comes_in_portions_and_never_before_its_time(store, monkeypatch):
    monkeypatch.setattr(outbox, "DUE_MAX", 3)
    told(store, 5)
    due = store.outbox.due("phone", NOON + 9)
    assert [each.message.made_utc_s - NOON for each in due] == [0, 1, 2]
    assert store.outbox.due("mail", NOON + 9) == ()
    store.outbox.postpone(due, NOON + 60, "It is away.")
    assert store.outbox.due("phone", NOON + 59) == (), "what is newer waits behind what is older"
    store.outbox.delivered(store.outbox.due("phone", NOON + 60), NOON + 60)
    assert len(store.outbox.due("phone", NOON + 60)) == 2


def test_what_is_old_is_forgotten_but_never_what_a_thing_last_was(store):
    hops = transition("hops", origin="agenda/7/hops")
    store.outbox.notice([*many(2), transition("alarm-0", State.CLEARED), hops], NOON)
    waiting = store.outbox.waiting()
    store.outbox.settle({each.id: Outcome.SEEN for each in waiting}, (), ())
    told(store, 2)
    store.outbox.delivered(store.outbox.due("phone", NOON + 9)[:1], NOON + 9)
    late = NOON + outbox.KEPT_S + 60
    store.outbox.tidy(["phone"], 0.0, late)
    assert [each.state for each in store.outbox.newest(9)] == ["waiting"]
    assert set(store.outbox.open()) == {"left/alarm-1", "left/hops"}
    store.outbox.notice([*many(2), hops], late)
    assert [each.transition.thing for each in store.outbox.waiting()] == ["left/alarm-0"]


def test_what_waited_too_long_or_has_no_target_any_more_is_given_up(store):
    told(store, 2, ("phone", "old"))
    store.outbox.tidy(["phone"], NOON + 0.5, NOON + 60)
    states = {
        (each.target, each.message.made_utc_s - NOON): each.state for each in store.outbox.newest(9)
    }
    assert states == {
        ("phone", 0): "given up", ("phone", 1): "waiting",
        ("old", 0): "given up", ("old", 1): "given up",
    }  # fmt: skip


def test_a_decision_and_its_messages_are_kept_together_or_not_at_all(store):
    store.outbox.notice(many(1), NOON)
    (waiting,) = store.outbox.waiting()
    broken = replace(MESSAGE, priority="urgent")
    with pytest.raises(Exception, match="CHECK"):
        store.outbox.settle(
            {waiting.id: Outcome.TOLD},
            [(MESSAGE, False, (waiting.id,)), (broken, False, ())],
            ["p"],
        )
    assert store.outbox.waiting() == (waiting,) and store.outbox.newest(9) == ()
