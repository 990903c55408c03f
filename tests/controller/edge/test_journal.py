"""Writing the journal: order, days, full and failing disks, kills, and what is found afterwards."""

import errno
import fcntl
import os
import random
import signal
import subprocess
import sys
import time

import pytest

from controller import wire
from controller.edge.journal import Journal, JournalSettings, day_files, writer
from controller.errors import DiskError
from tests.controller.edge.lines import (
    DAY_S,
    event,
    full_disk,
    moment,
    names,
    seqs,
    tick,
    write_ticks,
)

SETTINGS = JournalSettings()


def test_a_line_on_the_disk_is_the_line_on_the_wire(begin, tmp_path):
    journal = begin()
    lines = [tick(journal.boot, 1), event(journal.boot, 2)]
    journal.append(lines, moment(), urgent=True)
    (path,) = tmp_path.glob("*.jsonl")
    assert path.read_text() == "".join(wire.encode(line) + "\n" for line in lines)
    assert journal.next_seq == 3 and journal.trouble is None


def test_a_line_out_of_order_or_of_another_boot_is_a_bug(begin):
    journal = begin()
    for wrong in (tick(journal.boot, 2), tick("0009-dead", 1)):
        with pytest.raises(AssertionError):
            journal.append([wrong], moment(), urgent=False)


def test_each_start_has_a_boot_of_its_own_and_names_sort_as_written(begin, tmp_path):
    boots = []
    for start in range(12):
        journal = begin(after_s=start * 100.0)
        boots.append(journal.boot)
        write_ticks(journal, 2, start * 100.0)
    assert len(set(boots)) == 12 and boots == sorted(boots)
    assert boots[0].startswith("0001-") and boots[11].startswith("0012-")
    assert [name.split(".")[0] for name in names(tmp_path)] == boots


def test_the_ten_thousandth_start_still_comes_last(begin, tmp_path):
    (tmp_path / "9999-abcd.00000001.2026-01-01.jsonl").touch()
    journal = begin()
    write_ticks(journal, 1)
    assert journal.boot.startswith("10000-")
    assert [each.boot for each in day_files.day_files(tmp_path)] == ["9999-abcd", journal.boot]


def test_a_new_utc_day_is_a_new_file(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 4, after_s=DAY_S - 20, every_s=10)
    assert names(tmp_path) == [
        f"{journal.boot}.00000001.2026-01-01.jsonl",
        f"{journal.boot}.00000003.2026-01-02.jsonl",
    ]
    assert seqs(tmp_path, journal.boot) == [1, 2, 3, 4]


def test_a_clock_that_steps_back_or_says_nonsense_keeps_the_order(begin, tmp_path):
    journal = begin()
    for number, utc_s in enumerate((moment().utc_s, 1e18, -1e18, 0.0, moment().utc_s), start=1):
        now = type(moment())(1000.0 + number, utc_s, False)
        journal.append([tick(journal.boot, number, moment())], now, urgent=False)
    assert seqs(tmp_path, journal.boot) == [1, 2, 3, 4, 5]


def test_it_syncs_at_once_when_urgent_and_else_once_a_minute(begin, monkeypatch):
    journal, synced = begin(), []
    monkeypatch.setattr(writer.os, "fdatasync", synced.append)
    write_ticks(journal, 1)
    assert len(synced) == 1  # The first line of a boot.
    write_ticks(journal, 5, after_s=10)
    assert len(synced) == 1
    journal.append([event(journal.boot, 7)], moment(59), urgent=True)
    assert len(synced) == 2
    write_ticks(journal, 6, after_s=60)
    assert len(synced) == 2
    write_ticks(journal, 1, after_s=119)
    assert len(synced) == 3


def test_a_second_controller_in_the_same_folder_is_refused(begin, tmp_path):
    begin()
    with pytest.raises(DiskError, match=r"in use.*stop it first"):
        Journal.open(tmp_path, SETTINGS, moment())


def test_the_folder_is_free_again_after_close_and_after_death(tmp_path):
    program = (
        "import sys, os\n"
        "from pathlib import Path\n"
        "from controller.edge.journal import Journal, JournalSettings\n"
        "from controller.decision.vocabulary import Moment\n"
        "Journal.open(Path(sys.argv[1]), JournalSettings(), Moment(0.0, 0.0))\n"
        "os.kill(os.getpid(), 9)\n"
    )
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    subprocess.run([sys.executable, "-c", program, str(tmp_path)], env=environment, check=False)
    Journal.open(tmp_path, SETTINGS, moment()).close(moment())
    Journal.open(tmp_path, SETTINGS, moment()).close(moment())


def test_a_folder_that_cannot_be_written_is_told_with_the_remedy(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(DiskError, match="Create it and give it"):
        Journal.open(tmp_path / "file" / "journal", SETTINGS, moment())


def test_a_full_disk_stops_nothing_and_tears_nothing(begin, tmp_path):
    """The kernel itself cuts the write short here, in the middle of a line."""
    journal = begin()
    write_ticks(journal, 3)
    with full_disk(tmp_path, room_bytes=100):
        write_ticks(journal, 5, after_s=30)
        assert journal.trouble is not None and "cannot be written" in journal.trouble
        assert journal.next_seq == 9
        assert seqs(tmp_path, journal.boot) == [1, 2, 3]
    write_ticks(journal, 1, after_s=80)
    assert journal.trouble is None and journal.dropped == 0
    assert seqs(tmp_path, journal.boot) == list(range(1, 10))
    for path in tmp_path.glob("*.jsonl"):
        for line in path.read_bytes().splitlines():
            wire.decode(line)


def test_a_full_disk_at_midnight_is_survived(begin, tmp_path):
    journal = begin()
    write_ticks(journal, 2, after_s=DAY_S - 20)
    with full_disk(tmp_path, room_bytes=0):
        write_ticks(journal, 3, after_s=DAY_S)
    write_ticks(journal, 1, after_s=DAY_S + 30)
    assert seqs(tmp_path, journal.boot) == [1, 2, 3, 4, 5, 6]


@pytest.mark.skipif(os.geteuid() != 0, reason="mounting needs root")
def test_a_really_full_file_system_is_survived(begin, tmp_path):
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(small)], check=False
    )
    if mounted.returncode:
        pytest.skip("mounting is not allowed here")
    try:
        journal = begin(folder=small)
        write_ticks(journal, 400)
        assert journal.trouble is not None and "No space left" in journal.trouble
        held = seqs(small, journal.boot)
        assert 0 < len(held) < 400 and held == list(range(1, len(held) + 1))
        subprocess.run(["mount", "-o", "remount,size=4m", str(small)], check=True)
        write_ticks(journal, 1, after_s=4000)
        assert journal.trouble is None
        assert seqs(small, journal.boot) == list(range(1, 402))
        subprocess.run(["mount", "-o", "remount,ro", str(small)], check=False)
        write_ticks(journal, 1, after_s=4100)
        begin(after_s=4200, folder=tmp_path)
    finally:
        subprocess.run(["umount", str(small)], check=False)


@pytest.mark.parametrize("code", [errno.EIO, errno.EROFS, errno.ENOSPC])
@pytest.mark.parametrize("call", ["write", "fdatasync", "open"])
def test_any_failing_call_is_a_value_and_nothing_is_lost(begin, tmp_path, monkeypatch, code, call):
    journal = begin()
    if call != "open":
        write_ticks(journal, 2)

    def fails(*_):
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patched:
        patched.setattr(writer.os, call, fails)
        write_ticks(journal, 20, after_s=60)
        assert os.strerror(code) in journal.trouble
    write_ticks(journal, 1, after_s=400)
    assert journal.trouble is None
    assert seqs(tmp_path, journal.boot) == list(range(1, journal.next_seq))


def test_a_torn_write_that_cannot_be_cut_back_is_left_behind_in_its_own_file(
    begin, tmp_path, monkeypatch
):
    journal = begin()
    write_ticks(journal, 2)

    def fails(*_):
        raise OSError(errno.EIO, "no")

    with full_disk(tmp_path, room_bytes=50), monkeypatch.context() as patched:
        patched.setattr(writer.os, "ftruncate", fails)
        write_ticks(journal, 1, after_s=20)
    write_ticks(journal, 2, after_s=30)
    assert seqs(tmp_path, journal.boot) == [1, 2, 3, 4, 5]
    assert len(names(tmp_path)) == 2


def test_what_waits_is_bounded_and_ticks_go_before_events(begin, tmp_path, monkeypatch):
    monkeypatch.setattr(writer, "WAITING_LINES_MAX", 10)
    journal = begin()
    with full_disk(tmp_path, room_bytes=0):
        for seq in range(1, 41):
            line = event if seq % 8 == 0 else tick
            journal.append([line(journal.boot, seq)], moment(seq), urgent=False)
    assert journal.dropped == 30
    write_ticks(journal, 1, after_s=100)
    assert seqs(tmp_path, journal.boot) == [8, 16, 24, 32, 35, 36, 37, 38, 39, 40, 41]


def test_events_alone_are_bounded_too(begin, tmp_path, monkeypatch):
    monkeypatch.setattr(writer, "WAITING_LINES_MAX", 3)
    journal = begin()
    with full_disk(tmp_path, room_bytes=0):
        for seq in range(1, 8):
            journal.append([event(journal.boot, seq)], moment(seq), urgent=True)
    write_ticks(journal, 1, after_s=100)
    assert seqs(tmp_path, journal.boot) == [5, 6, 7, 8]


def test_the_last_tick_of_earlier_boots_is_found(begin):
    first = begin()
    assert first.last_tick() is None
    write_ticks(first, 3)
    assert first.last_tick() is None
    first.append([event(first.boot, 4)], moment(30), urgent=True)
    second = begin(after_s=100)
    assert second.last_tick() == tick(first.boot, 3, moment(20))


@pytest.mark.parametrize("torn_bytes", [1, 2, 100, 1000])
def test_a_torn_last_line_costs_that_line_only(begin, tmp_path, torn_bytes):
    first = begin()
    write_ticks(first, 10)
    second = begin(after_s=100)
    (path,) = tmp_path.glob(f"{first.boot}*")
    text = path.read_bytes()
    path.write_bytes(text[:-torn_bytes])
    whole = (text[:-torn_bytes]).count(b"\n") + (torn_bytes == 1)
    assert second.last_tick().seq == whole
    assert seqs(tmp_path, first.boot) == list(range(1, whole + 1))


def test_a_damaged_line_costs_that_line_only_and_is_told(begin, tmp_path, caplog):
    journal = begin()
    write_ticks(journal, 5)
    (path,) = tmp_path.glob("*.jsonl")
    lines = path.read_bytes().splitlines(keepends=True)
    lines[1] = b"\x00" * len(lines[1])  # Its end is gone too.
    lines[3] = lines[3].replace(b'"demand"', b'"demamd"')
    path.write_bytes(b"".join(lines))
    assert seqs(tmp_path, journal.boot) == [1, 3, 5]
    assert "1 damaged lines" in caplog.text


def test_a_last_file_that_is_garbage_is_passed_over(begin, tmp_path):
    first = begin()
    write_ticks(first, 3)
    (tmp_path / "0002-0000.00000001.2026-01-01.jsonl").write_bytes(random.randbytes(100_000))
    (tmp_path / "0003-0000.00000001.2026-01-01.jsonl.gz").write_bytes(b"\x1f\x8b" + b"x" * 99)
    (tmp_path / "0004-0000.00000001.2026-13-77.jsonl").touch()
    (tmp_path / "notes.txt").touch()
    second = begin(after_s=100)
    assert second.boot.startswith("0004-")
    assert second.last_tick() == tick(first.boot, 3, moment(20))


WRITER = """
import sys
from pathlib import Path
from controller.decision.vocabulary import Moment
from controller.edge.journal import Journal, JournalSettings
from tests.controller.edge.lines import event, moment, tick
journal = Journal.open(Path(sys.argv[1]), JournalSettings(), moment())
while True:
    line = event if journal.next_seq % 5 == 0 else tick
    lines = [line(journal.boot, journal.next_seq)]
    journal.append(lines, moment(journal.next_seq), urgent=line is event)
    print(journal.boot, journal.next_seq - 1, flush=True)
"""


def test_kill_9_of_a_real_writer_loses_nothing_it_had_written(tmp_path):
    """Eight starts, each killed at a random moment; every line it reported is there, in order."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(["", *sys.path])}
    reported = {}
    for start in range(8):
        command = [sys.executable, "-c", WRITER, str(tmp_path)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment) as process:
            boot, seq = process.stdout.readline().split()
            time.sleep(random.Random(start).uniform(0.0, 0.1))
            process.send_signal(signal.SIGKILL)
            for line in process.stdout.read().splitlines()[:-1]:
                boot, seq = line.split()
        reported[boot.decode()] = int(seq)
    assert len(reported) == 8
    for boot, last in reported.items():
        found = seqs(tmp_path, boot)
        assert found == list(range(1, len(found) + 1)) and len(found) >= last
    journal = Journal.open(tmp_path, SETTINGS, moment())
    assert journal.boot.startswith("0009-")
    assert journal.last_tick().boot == max(reported)
    journal.close(moment())


def test_the_lock_is_not_inherited_by_children(begin):
    flags = fcntl.fcntl(begin()._lock, fcntl.F_GETFD)
    assert flags & fcntl.FD_CLOEXEC


@pytest.mark.bench
def test_a_day_of_ticks_packs_well_and_appending_is_quick(begin, tmp_path, capsys):
    journal = begin()
    started_s = time.perf_counter()
    write_ticks(journal, 8640)
    each_us = (time.perf_counter() - started_s) / 8640 * 1e6
    (plain,) = day_files.day_files(tmp_path)
    plain_bytes = plain.path.stat().st_size
    day_files.pack(plain)
    packed_bytes = plain.packed_path.stat().st_size
    with capsys.disabled():
        print(f"\none append {each_us:.0f} us, a day {plain_bytes} bytes, packed {packed_bytes}")
    assert packed_bytes < plain_bytes / 5
