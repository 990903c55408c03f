"""Reading the journal for delivery: order over boots, acknowledgements, gaps and rewinds."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller import wire
from controller.edge.journal import Journal, JournalSettings, Outbox, day_files, writer
from tests.controller.edge.lines import DAY_S, event, moment, tick, write_ticks


def taken(outbox, limit=100_000):
    return [(entry.boot, entry.seq) for entry in outbox.take(limit)]


def numbered(boot, *seqs):
    return [(boot, seq) for seq in seqs]


def test_lines_come_once_in_order_and_then_none_until_there_are_more(begin):
    journal = begin()
    outbox = Outbox(journal)
    assert taken(outbox) == []
    write_ticks(journal, 3)
    assert taken(outbox, 2) == numbered(journal.boot, 1, 2)
    assert taken(outbox) == numbered(journal.boot, 3)
    assert taken(outbox) == []
    write_ticks(journal, 1, after_s=30)
    assert taken(outbox) == numbered(journal.boot, 4)


def test_a_taken_line_is_the_line_on_the_wire(begin):
    journal = begin()
    journal.append([tick(journal.boot, 1), event(journal.boot, 2)], moment(), urgent=True)
    first, second = Outbox(journal).take(9)
    assert wire.decode(first.text) == tick(journal.boot, 1) and first.is_tick
    assert wire.decode(second.text) == event(journal.boot, 2) and not second.is_tick


def test_older_boots_come_first_and_the_live_end_last(begin):
    first = begin()
    write_ticks(first, 3)
    second = begin(after_s=100)
    write_ticks(second, 2, after_s=100)
    third = begin(after_s=200)
    write_ticks(third, 2, after_s=200)
    outbox = Outbox(third)
    everything = (
        numbered(first.boot, 1, 2, 3) + numbered(second.boot, 1, 2) + numbered(third.boot, 1, 2)
    )
    assert taken(outbox, 4) + taken(outbox, 2) + taken(outbox) == everything


def test_what_is_acknowledged_does_not_come_again_after_a_rewind(begin):
    first = begin()
    write_ticks(first, 3)
    second = begin(after_s=100)
    write_ticks(second, 4, after_s=100)
    outbox = Outbox(second)
    taken(outbox)
    outbox.acknowledge(first.boot, 3)
    outbox.acknowledge(second.boot, 2)
    outbox.rewind()
    assert taken(outbox) == numbered(second.boot, 3, 4)


def test_acknowledgements_outlive_the_process(begin):
    first = begin()
    write_ticks(first, 5)
    outbox = Outbox(first)
    outbox.acknowledge(first.boot, 4)
    outbox.save(moment(), urgent=True)
    second = begin(after_s=100)
    assert taken(Outbox(second)) == numbered(first.boot, 5)


def test_they_are_written_down_at_most_once_a_minute(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 9)
    outbox = Outbox(journal)
    for seq, after_s in ((1, 0.0), (2, 30.0), (3, 59.9)):
        outbox.acknowledge(journal.boot, seq)
        outbox.save(moment(after_s))
    kept = json.loads((tmp_path / "delivered.json").read_text())
    assert kept == {journal.boot: 1}
    outbox.save(moment(60.0))
    assert json.loads((tmp_path / "delivered.json").read_text()) == {journal.boot: 3}


@pytest.mark.parametrize("text", ["", "{", "[]", '{"a": "x"}', '{"a": null}', "\x00" * 50])
def test_a_damaged_memory_of_them_costs_duplicates_only(begin, tmp_path, text):
    journal = begin()
    write_ticks(journal, 2)
    (tmp_path / "delivered.json").write_text(text)
    assert taken(Outbox(journal)) == numbered(journal.boot, 1, 2)


def test_a_memory_that_cannot_be_written_stops_nothing(begin, tmp_path):
    journal = begin()
    outbox = Outbox(journal)
    (tmp_path / "delivered.new").mkdir()
    outbox.acknowledge(journal.boot, 1)
    outbox.save(moment(), urgent=True)


def test_boots_whose_files_are_gone_are_forgotten(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 1)
    outbox = Outbox(journal)
    outbox.acknowledge("0000-dead", 7)
    outbox.acknowledge(journal.boot, 1)
    outbox.save(moment(), urgent=True)
    assert json.loads((tmp_path / "delivered.json").read_text()) == {journal.boot: 1}


def test_a_store_that_was_restored_gets_everything_since(begin):
    journal = begin()
    write_ticks(journal, 6)
    outbox = Outbox(journal)
    taken(outbox)
    outbox.acknowledge(journal.boot, 6)
    outbox.acknowledge(journal.boot, 2)
    outbox.rewind()
    assert taken(outbox) == numbered(journal.boot, 3, 4, 5, 6)


def test_a_damaged_line_is_replaced_by_an_event_that_says_so(begin, tmp_path):
    first = begin()
    write_ticks(first, 5)
    second = begin(after_s=100)
    (path,) = tmp_path.glob(f"{first.boot}*")
    lines = path.read_text().splitlines(keepends=True)
    lines[2] = "\x00" * 20 + "\n"
    path.write_text("".join(lines))
    entries = Outbox(second).take(99)
    assert [entry.seq for entry in entries] == [1, 2, 3, 4, 5]
    lost = wire.decode(entries[2].text)
    assert isinstance(lost, wire.Event) and lost.code == "line-lost"
    assert lost.utc_s == wire.decode(entries[3].text).utc_s


def test_lines_that_were_pruned_before_they_were_delivered_are_accounted_for(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 4, after_s=DAY_S - 20)
    assert len(list(tmp_path.glob("*.jsonl"))) == 2
    second = begin(after_s=DAY_S + 100)
    day_files.day_files(tmp_path)[0].path.unlink()
    entries = Outbox(second).take(99)
    assert [(entry.seq, entry.is_tick) for entry in entries] == [
        (1, False),
        (2, False),
        (3, True),
        (4, True),
    ]


def test_lines_dropped_while_the_disk_was_full_are_accounted_for(begin, monkeypatch):
    monkeypatch.setattr(writer, "WAITING_LINES_MAX", 3)
    journal = begin()
    outbox = Outbox(journal)
    write_ticks(journal, 2)
    assert taken(outbox) == numbered(journal.boot, 1, 2)

    def fails(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(writer.os, "write", fails)
        write_ticks(journal, 8, after_s=20)
        assert taken(outbox) == numbered(journal.boot, *range(3, 11))
        outbox.rewind()
        assert taken(outbox) == numbered(journal.boot, *range(1, 11))
    write_ticks(journal, 1, after_s=100)
    outbox.rewind()
    entries = outbox.take(99)
    assert [entry.seq for entry in entries] == list(range(1, 12))
    assert [entry.seq for entry in entries if not entry.is_tick] == [3, 4, 5, 6, 7]


def test_lines_that_only_wait_in_memory_are_delivered_too(begin, monkeypatch):
    journal = begin()
    outbox = Outbox(journal)

    def fails(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writer.os, "open", fails)
    write_ticks(journal, 3)
    monkeypatch.undo()
    assert journal.trouble and taken(outbox) == numbered(journal.boot, 1, 2, 3)


def test_live_delivery_opens_no_file(begin, monkeypatch):
    journal = begin()
    outbox = Outbox(journal)
    write_ticks(journal, 1)
    assert taken(outbox) == numbered(journal.boot, 1)
    monkeypatch.setattr(day_files.DayFile, "open", lambda self: pytest.fail("a file was opened"))
    for number in range(2, 1500):
        write_ticks(journal, 1, after_s=number * 10.0)
        outbox.acknowledge(journal.boot, number - 1)
        assert taken(outbox) == numbered(journal.boot, number)
    outbox.rewind()
    assert taken(outbox) == numbered(journal.boot, 1499)


def test_a_file_packed_while_it_is_read_loses_nothing(begin, tmp_path):
    first = begin()
    write_ticks(first, 2000, after_s=DAY_S - 10_000)
    second = begin(after_s=DAY_S * 2)
    outbox = Outbox(second)
    got = taken(outbox, 10)
    for day_file in day_files.day_files(tmp_path):
        day_files.pack(day_file)
    write_ticks(second, 3, after_s=DAY_S * 2)
    got += taken(outbox)
    assert got == numbered(first.boot, *range(1, 2001)) + numbered(second.boot, 1, 2, 3)


def test_delivered_boots_are_not_read_again_and_again(begin, monkeypatch):
    for start in range(5):
        write_ticks(begin(after_s=start * 100.0), 3, after_s=start * 100.0)
    journal = begin(after_s=900)
    outbox = Outbox(journal)
    for boot, seq in taken(outbox):
        outbox.acknowledge(boot, seq)
    monkeypatch.setattr(day_files.DayFile, "open", lambda self: pytest.fail("a file was opened"))
    outbox.rewind()
    assert taken(outbox) == []


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(
        st.one_of(
            st.tuples(st.just("write"), st.integers(1, 30)),
            st.tuples(st.just("take"), st.integers(1, 30)),
            st.tuples(st.just("store"), st.just(0)),
            st.tuples(st.just("rewind"), st.just(0)),
            st.tuples(st.just("restart"), st.just(0)),
            st.tuples(st.just("midnight"), st.just(0)),
            st.tuples(st.just("pack"), st.just(0)),
        ),
        max_size=40,
    )
)
def test_whatever_happens_a_store_that_counts_without_gaps_gets_everything(tmp_path_factory, steps):
    """A reader that only takes the next number of each boot ends with all that was written."""
    folder, after_s = tmp_path_factory.mktemp("journal"), 0.0
    journal = Journal.open(folder, JournalSettings(), moment())
    outbox, stored, written = Outbox(journal), {}, {}

    def receive(entries):
        for entry in entries:
            if entry.seq == stored.get(entry.boot, 0) + 1:
                stored[entry.boot] = entry.seq

    for step, count in [*steps, ("rewind", 0), ("take", 10_000)]:
        if step == "write":
            write_ticks(journal, count, after_s)
            after_s += count * 10.0
            written[journal.boot] = journal.next_seq - 1
        elif step == "take":
            receive(outbox.take(count))
        elif step == "store":
            for boot, seq in stored.items():
                outbox.acknowledge(boot, seq)
        elif step == "rewind":
            outbox.rewind()
        elif step == "midnight":
            after_s += DAY_S
        elif step == "pack":
            for day_file in day_files.day_files(folder)[:-1]:
                if not day_file.is_packed:
                    day_files.pack(day_file)
        else:
            outbox.save(moment(after_s), urgent=True)
            journal.close(moment(after_s))
            journal = Journal.open(folder, JournalSettings(), moment(after_s))
            outbox = Outbox(journal)
    assert stored == written
    journal.close(moment(after_s))
