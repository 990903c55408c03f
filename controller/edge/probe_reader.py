"""The probes read in a small process of their own, so that a hung bus cannot hang the controller.

A 1-Wire read can block inside the kernel where no signal reaches it, and a process that dies there
goes on holding its relay lines. So the process that owns the relays only ever waits on a pipe, with
a deadline. Nothing here judges a reading; a probe that did not answer in time is Fault.LATE.

The conversation, one line of JSON each: `{"ask": 7}` down, and up one `{"answer": 7, "role": ...}`
per fitted role, as each is read, so that one slow probe does not hide the others. The child serves
only the newest question and ends when its input closes. Both share the kernel's monotonic clock.
"""

from __future__ import annotations

import json
import logging
import os
import select
import signal
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from controller.decision.vocabulary import Fault, Reading, Role
from controller.edge.clock import Clock, SystemClock
from controller.edge.probes import LocalProbes, ProbeSettings

DEADLINE_S = 4.0  # Why: three probes convert one after another, 0.75 to 0.9 s each.
MISSES_MAX = 3  # Why: a bus recovers from one bad read by itself; three in a row is a hang.
UNREAPED_MAX = 2  # Why: each dead child the kernel will not give back holds memory.
_BUFFER_BYTES_MAX = 65_536  # Why: a round of answers is under 1 kB; more is garbage.
_MODULE = "controller.edge.probe_reader"
_PACKAGE_ROOT = Path(__file__).parents[2]

_log = logging.getLogger(__name__)


class ProbeProcess:
    """The probes behind a child process; `read()` returns within the deadline whatever happens.

    A child that has answered nothing three times in a row, has died or talks nonsense is replaced.
    One that cannot even be killed is left behind; with two of those there is no new child, and
    every reading is LATE until the kernel lets one go.
    """

    def __init__(
        self, settings: ProbeSettings, clock: Clock, deadline_s: float = DEADLINE_S
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._deadline_s = deadline_s
        self._roles = tuple(settings.fitted())
        self._number = 0
        self._misses = 0
        self._buffer = b""
        self._unreaped: list[subprocess.Popen[bytes]] = []
        self._child: subprocess.Popen[bytes] | None = None
        self._start_child()

    def read(self) -> tuple[Reading, ...]:
        """One reading per fitted role, beer first.

        1. Replace a child that has died, if the limit of unreaped ones allows.
        2. Ask, under a new number. 3. Collect answers to that number until the deadline.
        4. What has not come is LATE. After three rounds without any answer the child is killed.
        """
        asked_mono_s = self._clock.now().mono_s
        self._reap()
        if self._child is None or self._child.poll() is not None:
            self._drop_child()
            self._start_child()
        self._number += 1
        answers = self._collect(asked_mono_s + self._deadline_s) if self._ask() else {}
        self._misses = 0 if answers else self._misses + 1
        if self._misses >= MISSES_MAX:
            _log.warning("The probe reader has not answered %d times; replacing it.", self._misses)
            self._misses = 0
            self._drop_child()
        late = {role: Reading(role, asked_mono_s, fault=Fault.LATE) for role in self._roles}
        return tuple((late | answers).values())

    def close(self) -> None:
        """End the child: close its input, and kill it if it does not see that."""
        self._drop_child()
        self._reap()

    @property
    def pid(self) -> int | None:
        """The child's process id; None while there is none."""
        return None if self._child is None else self._child.pid

    def _reap(self) -> None:
        self._unreaped = [child for child in self._unreaped if child.poll() is None]

    def _start_child(self) -> None:
        if len(self._unreaped) >= UNREAPED_MAX:
            return
        self._buffer = b""
        command = [sys.executable, "-m", _MODULE, json.dumps(asdict(self._settings))]
        paths = [str(_PACKAGE_ROOT), os.environ.get("PYTHONPATH", "")]
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, paths))}
        try:
            self._child = subprocess.Popen(  # noqa: S603
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=environment,
                close_fds=True,  # Why: a child that hangs must not hold a relay's line.
            )
        except OSError as error:
            _log.warning("The probe reader cannot be started: %s", error)
            return
        for pipe in (self._child.stdin, self._child.stdout):
            assert pipe is not None
            os.set_blocking(pipe.fileno(), False)

    def _drop_child(self) -> None:
        child, self._child = self._child, None
        if child is None:
            return
        assert child.stdin is not None and child.stdout is not None
        child.stdin.close()
        child.stdout.close()
        child.kill()
        try:
            child.wait(timeout=0.2)  # Why: a killed process is gone in milliseconds or hung.
        except subprocess.TimeoutExpired:
            self._unreaped.append(child)
            _log.warning("The probe reader %d hangs in the kernel; left behind.", child.pid)

    def _ask(self) -> bool:
        if self._child is None:
            return False
        assert self._child.stdin is not None
        try:
            os.write(self._child.stdin.fileno(), b'{"ask":%d}\n' % self._number)
        except OSError:  # The child has died, or has left 64 kB of questions unread.
            return False
        return True

    def _collect(self, until_mono_s: float) -> dict[Role, Reading]:
        answers: dict[Role, Reading] = {}
        while len(answers) < len(self._roles):
            left_s = until_mono_s - self._clock.now().mono_s
            chunk = self._chunk(left_s) if left_s > 0 else None
            if not chunk:
                break
            *lines, self._buffer = (self._buffer + chunk).split(b"\n")
            for line in lines:
                reading = reading_in(line, self._number)
                if reading is not None and reading.role in self._roles:
                    answers[reading.role] = reading
            if len(self._buffer) > _BUFFER_BYTES_MAX:
                _log.warning("The probe reader talks nonsense; replacing it.")
                self._drop_child()
                break
        return answers

    def _chunk(self, wait_s: float) -> bytes | None:
        """What the child has said; None when it says nothing in time, empty when it has died."""
        assert self._child is not None and self._child.stdout is not None
        pipe = self._child.stdout.fileno()
        if not select.select([pipe], [], [], wait_s)[0]:
            return None
        return os.read(pipe, _BUFFER_BYTES_MAX)


def reading_in(line: bytes, number: int) -> Reading | None:
    """The reading in one line of the child; None when it is garbage or answers another question."""
    try:
        said: dict[str, Any] = json.loads(line)
        if said["answer"] != number:
            return None
        fault = None if said["fault"] is None else Fault(said["fault"])
        value_c = None if said["value_c"] is None else float(said["value_c"])
        return Reading(Role(said["role"]), float(said["taken_mono_s"]), value_c, fault)
    except (ValueError, TypeError, KeyError, AssertionError, RecursionError):
        return None


def _line_of(number: int, reading: Reading) -> bytes:
    return json.dumps({"answer": number} | asdict(reading)).encode() + b"\n"


def _newest_question(lines: Iterable[bytes]) -> int | None:
    numbers = [int(json.loads(line)["ask"]) for line in lines if line]
    return max(numbers, default=None)


def main() -> None:
    """Answer questions on standard input until it closes. The settings are the only argument."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Why: the parent decides when this one ends.
    probes = LocalProbes(ProbeSettings(**json.loads(sys.argv[1])), SystemClock())
    rest = b""
    while chunk := os.read(0, _BUFFER_BYTES_MAX):
        *lines, rest = (rest + chunk).split(b"\n")
        number = _newest_question(lines)
        if number is None:
            continue
        for role in probes.roles:
            os.write(1, _line_of(number, probes.read_one(role)))


if __name__ == "__main__":
    main()
