"""Plans, what was ticked off, and the ferment's own heat by the hour, on the disk."""

from __future__ import annotations

import pytest

from dashboard.errors import EntryError
from dashboard.facts import Batch, By, Plan, TickedOff
from dashboard.keeping import plans
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S, tick

BATCH = Batch(0, "cellar", "Pale", START_UTC_S, 1.052, 1.012, 20.0, "kveik")


@pytest.fixture
def store(tmp_path):
    made = Store.open(tmp_path / "s.db")
    yield made
    made.close()


def ticked(item: str, how: str = "done", utc_s: float = START_UTC_S) -> TickedOff:
    return TickedOff(item, how, "Add the dry hops", By("ann", utc_s))


def test_a_plan_is_the_usual_until_somebody_says_otherwise(tmp_path):
    store = Store.open(tmp_path / "own.db")
    batch = store.add_batch(BATCH)
    assert store.plan(batch.id) == Plan(True, 72.0, None)
    store.set_plan(batch.id, Plan(False, 48.0, 1.009))
    store.close()
    again = Store.open(tmp_path / "own.db")
    assert again.plan(batch.id) == Plan(False, 48.0, 1.009)
    again.close()


@pytest.mark.parametrize("bad", [Plan(True, 0.0), Plan(True, 72.0, 2.0)])
def test_what_no_batch_can_have_is_refused(store, bad):
    batch = store.add_batch(BATCH)
    with pytest.raises(EntryError):
        store.set_plan(batch.id, bad)
    assert store.plan(batch.id) == Plan()


def test_nothing_is_kept_of_a_batch_that_is_not_there(store):
    with pytest.raises(EntryError):
        store.tick_off(7, ticked("7-dry-hop"))
    with pytest.raises(EntryError):
        store.set_plan(7, Plan())


def test_the_last_word_on_an_item_counts_and_can_be_taken_back(store):
    batch = store.add_batch(BATCH)
    store.tick_off(batch.id, ticked("1-dry-hop", "skipped"))
    store.tick_off(batch.id, ticked("1-dry-hop", "done", START_UTC_S + 60))
    store.tick_off(batch.id, ticked("1-package", "done", START_UTC_S + 90))
    assert [(each.item, each.how) for each in store.ticked_off(batch.id)] == [
        ("1-package", "done"), ("1-dry-hop", "done"),
    ]  # fmt: skip
    store.put_back(batch.id, "1-package")
    assert [each.item for each in store.ticked_off(batch.id)] == ["1-dry-hop"]


def test_no_more_can_be_ticked_off_than_a_batch_can_have(store, monkeypatch):
    monkeypatch.setattr(plans, "TICKED_OFF_MAX", 2)
    batch = store.add_batch(BATCH)
    for item in ("a", "b"):
        store.tick_off(batch.id, ticked(item))
    with pytest.raises(EntryError):
        store.tick_off(batch.id, ticked("c"))


def test_the_ferments_own_heat_is_kept_as_the_mean_of_each_hour(store):
    lines = [
        tick(1, utc_s=START_UTC_S + 10, ferment_w=2.0, ferment_w_sd=1.0),
        tick(2, utc_s=START_UTC_S + 20),  # not known then
        tick(3, utc_s=START_UTC_S + 3500, ferment_w=4.0, ferment_w_sd=0.5),
        tick(4, utc_s=START_UTC_S + 3700, ferment_w=9.0, ferment_w_sd=0.2),
    ]
    store.add(lines[:2], START_UTC_S)
    store.commit()
    store.add(lines, START_UTC_S)  # again, and the rest: nothing counts twice
    store.commit()
    found = store.ferment_heat("cellar", START_UTC_S, START_UTC_S + 7200)
    assert [(each.start_utc_s, each.ferment_w, each.sd_w) for each in found] == [
        (START_UTC_S, 3.0, 0.75), (START_UTC_S + 3600, 9.0, 0.2),
    ]  # fmt: skip
