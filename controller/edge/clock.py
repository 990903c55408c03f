"""The clocks of this machine, and the one place that asks them.

Everything else is told the time. The monotonic clock never steps back; the wall clock may jump by
years, so it carries a flag saying whether it may be believed. Nothing here decides anything.
"""

from __future__ import annotations

import ctypes
import os
import select
import signal
import time  # noqa: TID251  -- the one file that asks the clocks
from pathlib import Path
from typing import Protocol

from controller.decision.vocabulary import Moment

# Why: a clock that has just been set may be believed a minute later; asking costs a system call.
SYNCED_CACHE_S = 60.0
# Source: man 2 adjtimex; the return value TIME_ERROR means "not synchronised".
_TIME_ERROR = 5
# Why: struct timex is 208 bytes on 64-bit and 128 on 32-bit Linux; all zero means "only tell".
_TIMEX_BYTES = 512
_WAKE_BYTES = 4096  # Why: one byte a signal; what is left over only wakes once more.
# Source: man 8 systemd-timesyncd.service, "/run/systemd/timesync/synchronized".
_TIMESYNC_FILE = Path("/run/systemd/timesync/synchronized")


class Clock(Protocol):
    """What the loop needs of time. The simulated garage brings one of its own."""

    def now(self) -> Moment:
        """Both clocks, read together."""
        ...

    def sleep_until(self, mono_s: float) -> None:
        """Return when the monotonic clock has reached `mono_s`; at once when it already has."""
        ...


class SystemClock:
    """The clocks of this machine."""

    def __init__(self, timesync_file: Path = _TIMESYNC_FILE) -> None:
        self._timesync_file = timesync_file
        self._synced = False
        self._synced_asked_s = float("-inf")
        self._interrupted = False
        self._wake_read, self._wake_write = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)

    def now(self) -> Moment:
        """Both clocks, read together; whether the wall clock is set is asked once a minute."""
        mono_s = time.monotonic()
        if mono_s - self._synced_asked_s >= SYNCED_CACHE_S:
            self._synced = is_synchronised(self._timesync_file)
            self._synced_asked_s = mono_s
        return Moment(mono_s, time.time(), self._synced)

    def sleep_until(self, mono_s: float) -> None:
        """Return when the monotonic clock has reached `mono_s`, or after `interrupt()`.

        A signal whose handler raises ends the sleep with that exception; any other signal does
        not shorten it.
        """
        before = self._hear_signals()
        try:
            while not self._interrupted and (left_s := mono_s - time.monotonic()) > 0:
                if select.select([self._wake_read], [], [], left_s)[0]:
                    os.read(self._wake_read, _WAKE_BYTES)
        finally:
            if before is not None:
                signal.set_wakeup_fd(before)

    def interrupt(self) -> None:
        """End this sleep and every later one at once: what a signal handler calls to stop the loop.

        Safe inside a signal handler and from any thread; it never blocks.
        """
        self._interrupted = True
        try:
            os.write(self._wake_write, b"!")
        except BlockingIOError:
            return  # The pipe is full of wake-ups already.

    def _hear_signals(self) -> int | None:
        """Let the kernel's own signal write to our pipe; what did before, None off the main thread.

        Without it a signal that comes a moment before the sleep would be handled only after it.
        """
        try:
            return signal.set_wakeup_fd(self._wake_write, warn_on_full_buffer=False)
        except ValueError:
            return None

    def close(self) -> None:
        """Give the two file descriptors back."""
        os.close(self._wake_read)
        os.close(self._wake_write)


def is_synchronised(timesync_file: Path = _TIMESYNC_FILE) -> bool:
    """Whether the wall clock has been set from the network since this machine started.

    The kernel knows (any time service tells it). Where asking it is forbidden, as under systemd's
    ProtectClock, the mark left by systemd-timesyncd is the only witness.
    """
    return _kernel_says_synchronised() or timesync_file.exists()


def _kernel_says_synchronised() -> bool:
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (OSError, AttributeError):
        return False
    return bool(0 <= state < _TIME_ERROR)
