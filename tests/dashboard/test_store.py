"""The store keeps every line once, knows its gaps, and never says more than is on the disk."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import threading
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import DiskError, WireError
from controller.wire import Stored
from dashboard import store as store_module
from dashboard.errors import EntryError
from dashboard.facts import Batch, By, GravityReading, GravityUnit
from dashboard.keeping import database, lines
from dashboard.keeping.rollup import TABLES, Sums, stored
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S, event, presence, tick

BATCH = Batch(0, "cellar", "Winter one", START_UTC_S, 1.052, 1.010, 20.0, "hot kveik")


@pytest.fixture
def store(tmp_path):
    opened = Store.open(tmp_path / "store.db")
    yield opened
    opened.close()


def rows(store: Store, sql: str) -> list[tuple]:
    with store._database.reading() as connection:
        return connection.execute(sql).fetchall()


def brute_force(ticks, step_s: int) -> dict[tuple[str, int], Sums]:
    """The same thinning, worked out from the ticks themselves the plainest way there is."""
    found: dict[tuple[str, int], Sums] = {}
    for start in {(t.chamber, round(t.utc_s) // step_s * step_s) for t in ticks}:
        mine = [t for t in ticks if (t.chamber, round(t.utc_s) // step_s * step_s) == start]
        beer = [stored(t.beer_c) for t in mine if t.beer_c is not None]
        garage = [stored(t.garage_c) for t in mine if t.garage_c is not None]
        target = [stored(t.target_c) for t in mine if t.target_c is not None]
        found[start] = Sums(
            ticks=len(mine),
            heat=sum(t.heat for t in mine),
            fan=sum(t.fan for t in mine),
            beer_count=len(beer),
            beer_sum=sum(beer),
            beer_low=min(beer, default=None),
            beer_high=max(beer, default=None),
            garage_count=len(garage),
            garage_sum=sum(garage),
            target_count=len(target),
            target_sum=sum(target),
        )
    return found


def kept_rollup(store: Store, table: str) -> dict[tuple[str, int], Sums]:
    sql = f"SELECT name, {table}.* FROM {table} JOIN chambers ON chambers.id = chamber"
    return {(row[0], row[2]): Sums(*row[3:]) for row in rows(store, sql)}


def test_a_line_is_kept_once_however_often_it_comes(store):
    lines = [tick(1), tick(2), event(3)]
    assert store.add([*lines, tick(2)], 10.0) == 3
    assert store.add(lines, 11.0) == 0
    assert store.commit() == (Stored("cellar", "b1", 3),)
    assert store.add(lines, 12.0) == 0
    assert store.commit() == ()
    assert rows(store, "SELECT count(*) FROM ticks") == [(2,)]
    assert rows(store, "SELECT count(*) FROM events") == [(1,)]


def test_nothing_counts_as_stored_before_the_commit(store):
    store.add([tick(1)], 1.0)
    assert (store.pending(), store.through("cellar", "b1")) == (1, 0)
    store.commit()
    assert (store.pending(), store.through("cellar", "b1")) == (0, 1)
    assert store.through("cellar", "never heard of") == 0


def test_gaps_are_seen_and_closed_and_survive_the_end_of_the_program(tmp_path):
    path = tmp_path / "store.db"
    with_gaps = Store.open(path)
    with_gaps.add([tick(seq) for seq in (1, 2, 5, 9, 10)], 1.0)
    assert with_gaps.commit() == (Stored("cellar", "b1", 2),)
    with_gaps.close()
    again = Store.open(path)
    assert again.missing("cellar", "b1") == ((3, 4), (6, 8))
    assert again.add([tick(seq) for seq in (1, 5, 10)], 2.0) == 0
    again.add([tick(seq) for seq in (8, 7, 6, 4, 3)], 3.0)
    assert again.commit() == (Stored("cellar", "b1", 10),)
    assert again.missing("cellar", "b1") == ()
    assert rows(again, "SELECT count(*) FROM ranges") == [(0,)]
    again.close()


def test_chambers_and_boots_with_the_same_numbers_are_kept_apart(store):
    kinds = [("cellar", "b1"), ("cellar", "b2"), ("shed", "b1")]
    for chamber, boot in kinds:
        assert store.add([tick(seq, chamber, boot) for seq in (1, 2, 3)], 1.0) == 3
    assert set(store.commit()) == {Stored(chamber, boot, 3) for chamber, boot in kinds}
    assert rows(store, "SELECT count(*) FROM ticks") == [(9,)]
    assert store.boots("cellar") == ("b2", "b1")
    assert [t.boot for t in store.ticks("cellar", 0, 9e9)] == ["b1", "b2"] * 3
    assert {t.chamber for t in store.ticks("shed", 0, 9e9)} == {"shed"}


def test_a_clock_that_is_put_back_loses_no_tick(store):
    store.add([tick(seq, utc_s=START_UTC_S + seq % 3) for seq in range(1, 10)], 1.0)
    store.commit()
    assert sorted(t.seq for t in store.ticks("cellar", 0, 9e9)) == list(range(1, 10))


TICKS = st.lists(
    st.builds(
        lambda seq, at, beer, garage, target, heat, chamber: tick(
            seq,
            chamber,
            utc_s=START_UTC_S + at,
            beer_c=beer,
            garage_c=garage,
            target_c=target,
            heat=heat,
            fan=not heat and seq % 2 == 0,
        ),
        st.integers(1, 60),
        st.integers(0, 8000),
        st.none() | st.floats(-20, 60),
        st.none() | st.floats(-30, 50),
        st.none() | st.floats(0, 45),
        st.booleans(),
        st.sampled_from(["cellar", "shed"]),
    ),
    max_size=60,
    unique_by=lambda t: (t.chamber, t.seq),
)


@settings(max_examples=40, deadline=None)
@given(TICKS, st.integers(1, 9))
def test_rollups_equal_a_recomputation_whatever_the_order_and_the_commits(
    tmp_path_factory, ticks, every
):
    path = tmp_path_factory.mktemp("rollups") / "store.db"
    store = Store.open(path)
    for at, one in enumerate(ticks):
        store.add([one, ticks[at // 2]], 1.0)
        if at % every == 0:
            store.commit()
    store.commit()
    for table, step_s in TABLES:
        assert kept_rollup(store, table) == brute_force(ticks, step_s)
    store.close()


def test_a_tick_read_back_is_the_tick_that_was_heard(store):
    heard = tick(1, pad_c=39.0, vetoes=("rest",), batch="one", beer_c=35.062)
    store.add([heard, tick(2)], 1.0)
    store.commit()
    first, second = store.ticks("cellar", START_UTC_S, START_UTC_S + 11)
    assert first == replace(heard, mono_s=0.0)
    assert second == replace(tick(2), mono_s=0.0)
    assert store.ticks("cellar", START_UTC_S, START_UTC_S + 10) == (first,)


def test_events_come_back_whole_and_the_newest_when_there_are_too_many(store):
    events = [event(seq, remedy="Look.", priority="high") for seq in range(1, 8)]
    store.add(events, 1.0)
    store.commit()
    assert store.events("cellar", 0, 9e9) == tuple(events)
    assert store.events("cellar", 0, 9e9, limit=3) == tuple(events[-3:])
    assert store.events("cellar", START_UTC_S + 10, START_UTC_S + 20) == tuple(events[1:3])
    assert store.events("shed", 0, 9e9) == ()


def test_a_chamber_is_known_by_its_newest_tick_even_before_the_commit(store):
    store.add_presence(presence())
    store.add([tick(1), tick(2)], 77.0)
    (known,) = store.chambers()
    assert (known.name, known.presence, known.last_tick) == ("cellar", presence(), tick(2))
    store.commit()
    (known,) = store.chambers()
    assert known.last_tick == replace(tick(2), mono_s=0.0)
    assert known.heard_utc_s == 77.0


def test_at_the_limit_of_waiting_lines_the_rest_is_not_taken_and_can_come_again(store, monkeypatch):
    monkeypatch.setattr(store_module, "PENDING_LINES_MAX", 3)
    assert store.add([tick(seq) for seq in range(1, 6)], 1.0) == 3
    assert store.commit() == (Stored("cellar", "b1", 3),)
    assert store.add([tick(seq) for seq in range(1, 6)], 1.0) == 2


def test_a_batch_and_its_readings_are_kept_as_typed(store):
    batch = store.add_batch(BATCH)
    assert batch == replace(BATCH, id=batch.id)
    assert store.current_batch("cellar") == store.batch(batch.id) == batch
    reading = GravityReading(0, batch.id, START_UTC_S, 1.0415, GravityUnit.SG, 34.5, 15.5, "warm")
    second = store.add_gravity(replace(reading, taken_utc_s=START_UTC_S + 9, entered=8.1))
    first = store.add_gravity(reading)
    assert store.gravities(batch.id) == (first, second)
    assert first == replace(reading, id=first.id)
    store.strike_gravity(second.id, By("", START_UTC_S))
    assert store.gravities(batch.id) == (first,)
    store.change_batch(replace(batch, name="Winter two", volume_l=19.0))
    store.end_batch(batch.id, START_UTC_S + 5)
    assert store.current_batch("cellar") is None
    ended = replace(batch, name="Winter two", volume_l=19.0, ended_utc_s=START_UTC_S + 5)
    assert store.batches("cellar") == (ended,)


def test_the_newest_batch_that_has_not_ended_is_the_current_one(store):
    older = store.add_batch(BATCH)
    newer = store.add_batch(replace(BATCH, name="Two", pitched_utc_s=START_UTC_S + 60))
    store.add_batch(replace(BATCH, name="Elsewhere", chamber="shed"))
    assert store.current_batch("cellar") == newer
    store.end_batch(newer.id, START_UTC_S + 61)
    assert store.current_batch("cellar") == older


@pytest.mark.parametrize(
    "wrong",
    [
        lambda s: s.add_batch(replace(BATCH, original_sg=1052.0)),
        lambda s: s.add_batch(replace(BATCH, volume_l=0.0)),
        lambda s: s.add_batch(replace(BATCH, name="")),
        lambda s: s.add_gravity(GravityReading(0, 99, 1.0, 1.04, GravityUnit.SG, 30.0)),
        lambda s: s.end_batch(99, 1.0),
        lambda s: s.strike_gravity(99, By("", 1.0)),
        lambda s: s.end_batch(s.add_batch(BATCH).id, START_UTC_S - 1),
    ],
)
def test_an_entry_that_cannot_be_is_refused_in_words_and_nothing_changes(store, wrong):
    with pytest.raises(EntryError) as caught:
        wrong(store)
    assert caught.value.remedy
    assert rows(store, "SELECT count(*) FROM gravities") == [(0,)]


def test_readers_in_many_threads_see_whole_commits_only(store):
    seen, stop = set(), threading.Event()

    def look():
        while not stop.is_set():
            seen.add(rows(store, "SELECT count(*) FROM ticks")[0][0])

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for start in range(1, 1001, 50):
        store.add([tick(seq) for seq in range(start, start + 50)], 1.0)
        store.commit()
    stop.set()
    for thread in threads:
        thread.join()
    assert seen <= set(range(0, 1001, 50))


def test_beyond_the_limit_no_new_chamber_is_taken_in_and_the_known_go_on(store, monkeypatch):
    monkeypatch.setattr(lines, "CHAMBERS_MAX", 2)
    store.add([tick(1), tick(1, "shed")], 1.0)
    with pytest.raises(WireError, match="one too many"):
        store.add([tick(1, "attic")], 1.0)
    with pytest.raises(WireError, match="one too many"):
        store.add_presence(presence("lost", "attic"))
    assert store.add([tick(2)], 1.0) == 1
    assert len(store.commit()) == 2


# The disk.


def test_a_power_cut_at_any_byte_of_the_log_leaves_a_whole_number_of_commits(tmp_path):
    path = tmp_path / "store.db"
    store = Store.open(path)
    for start in range(1, 201, 10):
        store.add([tick(seq) for seq in range(start, start + 10)], 1.0)
        store.commit()
    copies = random.Random(1)
    for at in range(20):
        cut = tmp_path / f"cut{at}" / "store.db"
        cut.parent.mkdir()
        shutil.copy(path, cut)
        log = cut.with_name("store.db-wal")
        shutil.copy(path.with_name("store.db-wal"), log)
        os.truncate(log, copies.randrange(log.stat().st_size))
        try:
            survivor = Store.open(cut)
        except DiskError:
            raise AssertionError("a cut log must not stop the store") from None
        held = survivor.through("cellar", "b1")
        assert held % 10 == 0
        if held:
            assert rows(survivor, "SELECT count(*) FROM ticks") == [(held,)]
            assert rows(survivor, "SELECT sum(ticks) FROM minutes") == [(held,)]
            assert rows(survivor, "PRAGMA integrity_check") == [("ok",)]
        survivor.close()
    store.close()


def test_a_full_disk_keeps_the_lines_waiting_and_the_next_commit_writes_them(store):
    store.add([tick(1)], 1.0)
    store.commit()
    (pages,) = rows(store, "PRAGMA page_count")[0]
    store._database._writer.execute(f"PRAGMA max_page_count = {pages}")
    store.add([tick(seq) for seq in range(2, 3000)], 2.0)
    with pytest.raises(DiskError, match="disk is full"):
        store.commit()
    assert (store.pending(), store.through("cellar", "b1")) == (2998, 1)
    store._database._writer.execute("PRAGMA max_page_count = 1000000")
    assert store.commit() == (Stored("cellar", "b1", 2999),)
    assert rows(store, "SELECT sum(ticks) FROM hours") == [(2999,)]


def test_a_missing_folder_a_folder_and_a_file_that_is_no_database_are_told_apart(tmp_path):
    (tmp_path / "note.txt").write_text("no database " * 100)
    for path, expected in [
        (tmp_path / "none" / "store.db", "No such file"),
        (tmp_path, "cannot be opened"),
        (tmp_path / "note.txt", "it is no database"),
    ]:
        with pytest.raises(DiskError, match=expected) as caught:
            Store.open(path)
        assert caught.value.remedy


def test_another_programs_database_is_left_alone(tmp_path):
    path = tmp_path / "other.db"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE theirs (a)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(DiskError, match="another program"):
        Store.open(path)
    assert path.read_bytes() == before


def test_a_damaged_store_says_so_and_what_to_do(tmp_path):
    path = tmp_path / "store.db"
    store = Store.open(path)
    store.add([tick(seq) for seq in range(1, 3000)], 1.0)
    store.commit()
    store.close()
    raw = bytearray(path.read_bytes())
    raw[database.PAGE_BYTES * 4 :] = os.urandom(len(raw) - database.PAGE_BYTES * 4)
    path.write_bytes(raw)
    with pytest.raises(DiskError, match="damaged") as caught:
        damaged = Store.open(path)
        try:
            damaged.ticks("cellar", 0, 9e9)
        finally:
            damaged.close()
    assert "backup" in caught.value.remedy


def test_a_store_of_a_newer_release_is_not_touched(tmp_path):
    path = tmp_path / "store.db"
    Store.open(path).close()
    newer = sqlite3.connect(path)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    with pytest.raises(DiskError, match="schema 99"):
        Store.open(path)


def test_a_second_dashboard_on_the_same_store_is_refused(tmp_path):
    first = Store.open(tmp_path / "store.db")
    with pytest.raises(DiskError, match="Another dashboard"):
        Store.open(tmp_path / "store.db")
    first.close()
    Store.open(tmp_path / "store.db").close()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_told(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(DiskError, match="Permission denied"):
        Store.open(tmp_path / "store.db")
    tmp_path.chmod(0o700)
