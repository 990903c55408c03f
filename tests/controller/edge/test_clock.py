"""The clocks: monotonic, wall, and whether the wall clock may be believed."""

import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from controller.edge import clock as clock_module
from controller.edge.clock import SystemClock, is_synchronised


def test_both_clocks_are_those_of_this_machine():
    before, now, after = time.monotonic(), SystemClock().now(), time.monotonic()
    assert before <= now.mono_s <= after
    assert abs(now.utc_s - time.time()) < 5


def test_it_sleeps_until_the_due_time_and_not_less():
    clock = SystemClock()
    due_s = clock.now().mono_s + 0.05
    clock.sleep_until(due_s)
    assert due_s <= clock.now().mono_s < due_s + 0.5


def test_a_due_time_in_the_past_is_no_sleep():
    clock = SystemClock()
    started_s = time.monotonic()
    clock.sleep_until(started_s - 100)
    assert time.monotonic() - started_s < 0.05


def test_a_signal_that_only_notes_something_does_not_shorten_the_sleep():
    clock, seen = SystemClock(), []
    before = signal.signal(signal.SIGUSR1, lambda *_: seen.append(1))
    try:
        threading.Timer(0.03, os.kill, [os.getpid(), signal.SIGUSR1]).start()
        due_s = clock.now().mono_s + 0.15
        clock.sleep_until(due_s)
    finally:
        signal.signal(signal.SIGUSR1, before)
    assert seen and clock.now().mono_s >= due_s


def test_a_signal_handler_can_interrupt_the_sleep_for_good():
    """A real process: SIGTERM while it sleeps for a minute ends it at once and in order."""
    program = (
        "import signal, sys\n"
        "from controller.edge.clock import SystemClock\n"
        "clock = SystemClock()\n"
        "signal.signal(signal.SIGTERM, lambda *_: clock.interrupt())\n"
        "print('ready', flush=True)\n"
        "clock.sleep_until(clock.now().mono_s + 60)\n"
        "clock.sleep_until(clock.now().mono_s + 60)\n"
        "print('ended')\n"
    )
    for _ in range(5):  # Also when it comes just before the sleep begins.
        with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as process:
            assert process.stdout.readline() == b"ready\n"
            process.send_signal(signal.SIGTERM)
            assert process.communicate(timeout=10)[0] == b"ended\n"


def test_a_signal_between_the_last_look_and_the_sleep_still_interrupts_it(monkeypatch):
    """The worst moment there is: the signal is in, and its handler has not run yet."""
    clock, real_select = SystemClock(), clock_module.select.select
    before = signal.signal(signal.SIGUSR1, lambda *_: clock.interrupt())

    def late(*arguments):
        # In another thread, so that this one's system call is not interrupted by it.
        thread = threading.Thread(target=signal.raise_signal, args=[signal.SIGUSR1])
        threading.Timer(0.05, thread.start).start()
        return real_select(*arguments)

    monkeypatch.setattr(clock_module.select, "select", late)
    try:
        started_s = time.monotonic()
        clock.sleep_until(started_s + 20)
        assert time.monotonic() - started_s < 5
    finally:
        signal.signal(signal.SIGUSR1, before)


def test_another_thread_can_sleep_and_be_interrupted_too():
    clock = SystemClock()
    sleeper = threading.Thread(target=clock.sleep_until, args=[time.monotonic() + 20])
    sleeper.start()
    clock.interrupt()
    sleeper.join(5)
    assert not sleeper.is_alive()


def test_an_exception_of_a_signal_handler_ends_the_sleep():
    def stop(*_):
        raise InterruptedError("told to stop")

    before = signal.signal(signal.SIGUSR1, stop)
    try:
        threading.Timer(0.03, os.kill, [os.getpid(), signal.SIGUSR1]).start()
        with pytest.raises(InterruptedError, match="told to stop"):
            SystemClock().sleep_until(time.monotonic() + 5)
    finally:
        signal.signal(signal.SIGUSR1, before)


def test_many_interrupts_never_block():
    clock = SystemClock()
    for _ in range(70_000):  # More than a pipe holds (65,536 bytes).
        clock.interrupt()
    clock.close()


def test_the_mark_of_the_time_service_is_believed_when_the_kernel_may_not_be_asked(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(clock_module, "_kernel_says_synchronised", lambda: False)
    mark = tmp_path / "synchronized"
    assert not is_synchronised(mark)
    mark.touch()
    assert is_synchronised(mark)


def test_the_kernel_gives_an_answer():
    assert clock_module._kernel_says_synchronised() in (True, False)


def test_being_synchronised_is_asked_once_a_minute(tmp_path, monkeypatch):
    monkeypatch.setattr(clock_module, "_kernel_says_synchronised", lambda: False)
    now_s = [1000.0]
    monkeypatch.setattr(clock_module.time, "monotonic", lambda: now_s[0])
    mark = tmp_path / "synchronized"
    clock = SystemClock(mark)
    assert not clock.now().synced
    mark.touch()
    now_s[0] += 59.9
    assert not clock.now().synced
    now_s[0] += 0.1
    assert clock.now().synced
