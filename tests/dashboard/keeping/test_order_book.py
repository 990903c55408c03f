"""Orders and answers are kept once, by the one who gave them, and the oldest go."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from controller.wire import Order, Reply
from dashboard.facts import Given
from dashboard.keeping import orders as keeping
from dashboard.store import Store

ORDER = Order("cellar", "id-1", "phone", 1000.0, 60.0, "hold", target_c=22.0)
REPLY = Reply("cellar", "id-1", True, "Holding.", 1001.0)


@pytest.fixture
def store(tmp_path: Path):
    opened = Store.open(tmp_path / "store.sqlite")
    yield opened
    opened.close()


def test_an_order_waits_for_its_answer_and_keeps_the_first(store: Store) -> None:
    store.add_order(ORDER)
    assert store.orders("cellar", 9) == (Given(ORDER),)
    assert store.answer_to("id-1", 0.0) is None
    assert store.answer_order(REPLY)
    assert not store.answer_order(replace(REPLY, taken=False))
    assert store.orders("cellar", 9) == (Given(ORDER, REPLY),)
    assert store.answer_to("id-1", 0.0) == REPLY


def test_an_answer_to_nobody_or_from_another_chamber_is_not_kept(store: Store) -> None:
    assert not store.answer_order(REPLY)
    store.add_order(ORDER)
    assert not store.answer_order(replace(REPLY, chamber="attic"))
    assert store.orders("attic", 9) == ()


def test_who_waits_is_woken_by_the_answer(store: Store) -> None:
    store.add_order(ORDER)
    answering = threading.Timer(0.1, store.answer_order, [REPLY])
    answering.start()
    assert store.answer_to("id-1", 10.0) == REPLY
    answering.join()


def test_the_newest_come_first_and_the_oldest_go(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeping, "KEPT_MAX", 3)
    for number in range(5):
        store.add_order(replace(ORDER, id=f"id-{number}", utc_s=1000.0 + number))
    assert [each.order.id for each in store.orders("cellar", 9)] == ["id-4", "id-3", "id-2"]
    assert len(store.orders("cellar", 1)) == 1


def test_orders_outlive_a_restart(tmp_path: Path) -> None:
    first = Store.open(tmp_path / "again.sqlite")
    first.add_order(ORDER)
    first.close()
    second = Store.open(tmp_path / "again.sqlite")
    assert second.orders("cellar", 9) == (Given(ORDER),)
    second.close()
