"""Old day files of the journal: packed, pruned, and readable in whatever state they are."""

import gzip

import pytest

from controller.edge.journal import JournalSettings, day_files
from tests.controller.edge.lines import DAY_S, full_disk, moment, names, seqs, tick, write_ticks


def test_a_closed_day_is_packed_and_reads_the_same(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 60, after_s=DAY_S - 600)
    before = seqs(tmp_path, journal.boot)
    write_ticks(journal, 61, after_s=DAY_S)
    packed, plain = names(tmp_path)
    assert packed.endswith("2026-01-01.jsonl.gz") and plain.endswith("2026-01-02.jsonl")
    assert seqs(tmp_path, journal.boot) == [*before, *range(61, 122)]
    assert gzip.decompress((tmp_path / packed).read_bytes()).count(b"\n") == 60


def test_packing_broken_off_anywhere_loses_nothing(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 5)
    begin(after_s=100)
    (plain,) = tmp_path.glob("*.jsonl")
    (half,) = day_files.day_files(tmp_path)
    half.packed_path.write_bytes(b"half")  # And the plain one not yet deleted.
    plain.with_name(plain.name + ".new").write_bytes(b"half")
    assert seqs(tmp_path, journal.boot) == [1, 2, 3, 4, 5]
    day_files.pack(half)
    assert seqs(tmp_path, journal.boot) == [1, 2, 3, 4, 5] and not plain.exists()
    assert not list(tmp_path.glob("*.new"))


def test_packing_on_a_full_disk_keeps_the_plain_file(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 200, after_s=DAY_S - 2000)
    (closed,) = day_files.day_files(tmp_path)
    room_bytes = 500 - closed.path.stat().st_size
    with full_disk(tmp_path, room_bytes), pytest.raises(OSError):
        day_files.pack(closed)
    assert seqs(tmp_path, journal.boot) == list(range(1, 201))
    assert names(tmp_path) == [closed.path.name]


def test_a_file_packed_after_it_was_listed_is_still_read(begin, tmp_path):
    write_ticks(begin(), 5)
    begin(after_s=100)
    (listed,) = day_files.day_files(tmp_path)
    day_files.pack(listed)
    assert [entry.seq for entry in day_files.entries_in(listed)] == [1, 2, 3, 4, 5]


def old_files(folder, days):
    for number in range(1, days + 1):
        day = day_files.utc_day(moment((number - days) * DAY_S).utc_s)
        (folder / f"{number:04d}-0000.00000001.{day}.jsonl.gz").write_bytes(b"x" * 1_000_000)


def test_files_beyond_the_days_to_keep_go_oldest_first_and_are_told(begin, tmp_path, caplog):
    old_files(tmp_path, 10)
    journal = begin(settings=JournalSettings(keep_days=3))
    write_ticks(journal, 1)
    assert [name[:4] for name in names(tmp_path)] == ["0007", "0008", "0009", "0010", "0011"]
    assert caplog.text.count("is deleted: old") == 6


def test_files_beyond_the_size_go_oldest_first(begin, tmp_path):
    old_files(tmp_path, 15)
    journal = begin(settings=JournalSettings(size_mb_max=10))
    write_ticks(journal, 1)
    assert [name[:4] for name in names(tmp_path)][:2] == ["0007", "0008"]
    assert len(names(tmp_path)) == 10


def test_a_clock_that_is_not_synchronised_deletes_nothing_for_its_age(begin, tmp_path):
    old_files(tmp_path, 10)
    journal = begin(settings=JournalSettings(keep_days=1))
    now = moment(DAY_S * 10_000, synced=False)
    journal.append([tick(journal.boot, 1)], now, urgent=False)
    assert len(names(tmp_path)) == 11


def test_the_newest_file_is_never_deleted(begin, tmp_path):
    (tmp_path / "0001-0000.00000001.2020-01-01.jsonl").write_bytes(b"x" * 11_000_000)
    files = day_files.day_files(tmp_path)
    assert day_files.prune(files, 1, 10_000_000, moment()) == files
