"""The probes behind a real child process: hangs, deaths and nonsense."""

import os
import signal
import threading
import time
from pathlib import Path

import pytest

from controller.decision.vocabulary import Fault, Reading, Role
from controller.edge import probe_reader
from controller.edge.clock import SystemClock
from controller.edge.probe_reader import ProbeProcess, reading_in
from controller.edge.probes import ProbeSettings
from tests.controller.edge.onewire_files import BEER, PAD, frame_of, place, text_of


@pytest.fixture
def bus(tmp_path):
    place(tmp_path, BEER, text_of(frame_of(35.0)))
    place(tmp_path, PAD, text_of(frame_of(48.0)))
    return tmp_path


@pytest.fixture
def start(bus):
    """Start a reader whose child is up (its first answer may take an import's time)."""
    started = []

    def _start(deadline_s=0.4):
        settings = ProbeSettings(beer=BEER, pad=PAD, pad_offset_k=0.5, folder=str(bus))
        probes = ProbeProcess(settings, SystemClock(), deadline_s)
        started.append(probes)
        wait_for(lambda: probes.read()[0].fault is not Fault.LATE)
        return probes

    yield _start
    for probes in started:
        probes.close()


def wait_for(condition, within_s=15):
    until_s = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < until_s, "it did not happen"
        time.sleep(0.01)


def hang(bus, rom):
    """A FIFO without a writer: whoever opens it to read sleeps in the kernel."""
    path = bus / rom / "w1_slave"
    path.unlink()
    os.mkfifo(path)


def heal(bus, rom, temperature_c):
    (bus / rom / "w1_slave").unlink()
    place(bus, rom, text_of(frame_of(temperature_c)))


def test_the_readings_are_those_of_the_probes_and_dated_by_our_clock(start):
    probes = start()
    before_s = time.monotonic()
    beer, pad = probes.read()
    assert (beer.role, beer.value_c) == (Role.BEER, 35.0)
    assert (pad.role, pad.value_c) == (Role.PAD, 48.5)
    assert before_s <= beer.taken_mono_s <= pad.taken_mono_s <= time.monotonic()


def test_a_fault_of_a_probe_comes_through_as_it_is(start, bus):
    probes = start()
    (bus / PAD / "w1_slave").write_text("")
    assert [reading.fault for reading in probes.read()] == [None, Fault.UNREADABLE]


def test_a_hung_bus_is_late_within_the_deadline_and_never_hangs_us(start, bus):
    probes = start()
    hang(bus, BEER)
    started_s = time.monotonic()
    readings = probes.read()
    assert time.monotonic() - started_s < 0.4 + 0.3
    assert [reading.fault for reading in readings] == [Fault.LATE, Fault.LATE]


def test_a_slow_probe_does_not_hide_the_ones_before_it(start, bus):
    probes = start()
    hang(bus, PAD)
    beer, pad = probes.read()
    assert (beer.value_c, pad.fault) == (35.0, Fault.LATE)


def test_after_three_misses_the_child_is_replaced_and_reading_goes_on(start, bus):
    probes = start()
    first = probes.pid
    hang(bus, BEER)
    for _ in range(3):
        assert probes.read()[0].fault is Fault.LATE
    heal(bus, BEER, 34.0)
    wait_for(lambda: probes.read()[0].value_c == 34.0)
    assert probes.pid != first
    assert not Path(f"/proc/{first}").exists()


def test_an_answer_to_an_older_question_is_not_taken(start, bus):
    """The child hangs on question n and answers it when we are at n + 1: old news, thrown away."""
    probes = start()
    hang(bus, BEER)
    assert probes.read()[0].fault is Fault.LATE
    fifo = os.open(bus / BEER / "w1_slave", os.O_WRONLY)
    heal(bus, BEER, 20.0)
    os.write(fifo, text_of(frame_of(99.0)).encode())
    os.close(fifo)
    asked_s = time.monotonic()
    beer, _ = probes.read()
    assert beer.value_c == 20.0 and beer.taken_mono_s >= asked_s


def test_a_child_that_dies_is_replaced(start):
    probes = start()
    first = probes.pid
    os.kill(first, signal.SIGKILL)
    wait_for(lambda: probes.read()[0].value_c == 35.0)
    assert probes.pid != first


def test_a_child_that_dies_while_we_wait_costs_one_late_round_and_no_wait(start, bus):
    probes = start(deadline_s=10)
    hang(bus, BEER)
    threading.Timer(0.2, os.kill, [probes.pid, signal.SIGKILL]).start()
    started_s = time.monotonic()
    assert probes.read()[0].fault is Fault.LATE
    assert time.monotonic() - started_s < 5


def test_the_child_holds_nothing_of_ours_open(start, bus):
    """A hung child must not hold the line of a relay: it has its three pipes and no more."""
    line = os.open(bus, os.O_RDONLY)
    os.set_inheritable(line, True)
    probes = start()
    targets = {link.readlink() for link in Path(f"/proc/{probes.pid}/fd").iterdir()}
    os.close(line)
    assert bus not in targets


def test_closing_ends_the_child(start):
    probes = start()
    pid = probes.pid
    probes.close()
    probes.close()
    wait_for(lambda: not Path(f"/proc/{pid}").exists())


def test_the_child_ends_by_itself_when_its_input_closes(start):
    probes = start()
    child = probes._child
    child.stdin.close()
    assert child.wait(timeout=10) == 0


def test_a_terminals_interrupt_does_not_end_the_child(start):
    probes = start()
    os.kill(probes.pid, signal.SIGINT)
    assert probes.read()[0].value_c == 35.0


def _talker(tmp_path, monkeypatch, program):
    """Put another program in the child's place."""
    module = tmp_path / "talker.py"
    module.write_text(program)
    monkeypatch.setattr(probe_reader, "_MODULE", "talker")
    monkeypatch.setattr(probe_reader, "_PACKAGE_ROOT", tmp_path)
    settings = ProbeSettings(beer=BEER, folder=str(tmp_path))
    return ProbeProcess(settings, SystemClock(), 0.4)


def test_garbage_on_the_pipe_is_late_and_bounded(tmp_path, monkeypatch):
    program = "import os\nwhile True: os.write(1, b'x' * 1000)\n"
    probes = _talker(tmp_path, monkeypatch, program)
    first = probes.pid
    for _ in range(4):
        started_s = time.monotonic()
        assert probes.read()[0].fault is Fault.LATE
        assert time.monotonic() - started_s < 1
    assert probes.pid != first
    probes.close()


def test_a_child_that_cannot_start_is_late_for_ever_without_a_crash(tmp_path, monkeypatch):
    probes = _talker(tmp_path, monkeypatch, "raise SystemExit(1)\n")
    for _ in range(5):
        assert probes.read()[0].fault is Fault.LATE
    probes.close()


def test_no_more_than_two_unkillable_children_are_left_behind(start, bus, monkeypatch):
    """A process in the kernel's uninterruptible sleep survives SIGKILL; here, kill does nothing."""
    probes = start(deadline_s=0.05)
    monkeypatch.setattr(probe_reader.subprocess.Popen, "kill", lambda self: None)
    hang(bus, BEER)
    for _ in range(12):
        assert probes.read()[0].fault is Fault.LATE
    assert len(probes._unreaped) == 2 and probes.pid is None
    stuck = [child.pid for child in probes._unreaped]
    heal(bus, BEER, 33.0)
    for pid in stuck:
        os.kill(pid, signal.SIGKILL)
    probes._deadline_s = 2.0
    wait_for(lambda: probes.read()[0].value_c == 33.0)
    monkeypatch.undo()


GOOD = b'{"answer": 3, "role": "beer", "taken_mono_s": 1.5, "value_c": 35.0, "fault": null}'


def test_a_good_line_is_a_reading():
    assert reading_in(GOOD, 3) == Reading(Role.BEER, 1.5, value_c=35.0)


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"{",
        b"[]",
        b"7",
        b"\xff\xfe",
        GOOD.replace(b"3", b"4"),
        GOOD.replace(b"beer", b"tea"),
        GOOD.replace(b"35.0", b"null"),
        GOOD.replace(b"35.0", b'"hot"'),
        GOOD.replace(b'"fault": null', b'"fault": "late"'),
        GOOD.replace(b', "value_c": 35.0', b""),
        b"[" * 5000,
    ],
)
def test_a_line_that_is_not_one_is_no_reading(line):
    assert reading_in(line, 3) is None
