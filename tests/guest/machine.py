"""The guest as seen from outside: started, asked, watched, reset, and ended."""

from __future__ import annotations

import json
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

MEMORY_MB = 512  # Why: as much as the smallest board this is meant for has.
ANSWER_S = 120.0  # Why: emulated, a short program of the guest takes a second or two.
BOOT_S = 240.0
LOOK_S = 0.4


class Machine:
    """One emulated machine, without the host's help: every instruction is emulated.

    Args:
        folder: where its console and sockets are.
        kernel: the uncompressed kernel.
        disk: its disk; nothing is written to the file.
        early: the initial memory disk.
    """

    def __init__(self, folder: Path, kernel: Path, disk: Path, early: Path) -> None:
        self.console = folder / "console.log"
        self._agent_path, self._monitor_path = folder / "agent.sock", folder / "monitor.sock"
        for path in (self._agent_path, self._monitor_path, self.console):
            path.unlink(missing_ok=True)
        self._process = subprocess.Popen(
            ["qemu-system-x86_64", "-machine", "pc", "-accel", "tcg", "-cpu", "max",
             "-m", str(MEMORY_MB), "-smp", "1", "-display", "none", "-nodefaults",
             "-no-user-config",
             "-kernel", str(kernel), "-initrd", str(early), "-append",
             "console=ttyS0 panic=0 mitigations=off nokaslr quiet systemd.show_status=no",
             "-drive", f"file={disk},if=virtio,format=raw,snapshot=on",
             "-device", "i6300esb", "-action", "watchdog=reset",
             "-serial", f"file:{self.console}",
             "-serial", f"unix:{self._agent_path},server=on,wait=off",
             "-qmp", f"unix:{self._monitor_path},server=on,wait=off"],
            stderr=subprocess.PIPE,
        )  # fmt: skip
        self._agent = _connected(self._agent_path)
        self._monitor = _connected(self._monitor_path)
        self._rest = b""
        self._asked = 0
        self.boot = ""
        self._order("qmp_capabilities")
        self.wait_for_boot()

    def wait_for_boot(self, within_s: float = BOOT_S) -> float:
        """Until the agent says hello under a new boot; how long that took, in s."""
        began_s, before = time.monotonic(), self.boot
        while True:
            said = self._line(within_s - (time.monotonic() - began_s))
            if said.get("hello", before) != before:
                self.boot = str(said["hello"])
                return time.monotonic() - began_s

    def ask(self, words: str, within_s: float = ANSWER_S) -> str:
        """What a shell in the guest says to these words.

        Raises:
            AssertionError: they failed.
        """
        code, said = self.tried(words, within_s)
        assert code == 0, f"`{words}`: {said}"
        return said

    def tried(self, words: str, within_s: float = ANSWER_S) -> tuple[int, str]:
        """The exit code and the words of a command in the guest."""
        return self._answer("run", words, within_s)

    def read(self, file: str) -> str:
        """The text of a file in the guest; cheap enough to look at again and again."""
        return self._answer("read", file, ANSWER_S)[1]

    def _answer(self, kind: str, words: str, within_s: float) -> tuple[int, str]:
        self._asked += 1
        self._agent.sendall(json.dumps({"id": self._asked, kind: words}).encode() + b"\n")
        until_s = time.monotonic() + within_s
        while True:
            said = self._line(until_s - time.monotonic())
            if said.get("id") == self._asked:
                return int(said["code"]), str(said["said"])

    def reset(self) -> None:
        """The power is cut and comes back: memory is lost, and with it what was not on the disk."""
        self._order("system_reset")

    def until(self, holds: Callable[[], bool], within_s: float) -> float:
        """Look again and again until it holds; how long that took, in s."""
        began_s = time.monotonic()
        while not holds():
            took_s = time.monotonic() - began_s
            assert took_s < within_s, f"not within {within_s:g} s"
            time.sleep(LOOK_S)
        return time.monotonic() - began_s

    def close(self) -> None:
        """End it."""
        self._agent.close()
        self._monitor.close()
        self._process.terminate()
        self._process.wait(10)

    def _line(self, within_s: float) -> dict[str, object]:
        until_s = time.monotonic() + within_s
        while b"\n" not in self._rest:
            left_s = until_s - time.monotonic()
            assert left_s > 0, f"the guest says nothing; its console ends:\n{self._last_words()}"
            self._agent.settimeout(left_s)
            try:
                self._rest += self._agent.recv(65536)
            except TimeoutError:
                continue
        line, _, self._rest = self._rest.partition(b"\n")
        try:
            said = json.loads(line)
        except ValueError:
            return {}
        return said if isinstance(said, dict) else {}

    def _last_words(self) -> str:
        return self.console.read_text(errors="replace")[-2000:]

    def _order(self, what: str) -> None:
        self._monitor.sendall(json.dumps({"execute": what}).encode() + b"\n")


def _connected(path: Path) -> socket.socket:
    line = socket.socket(socket.AF_UNIX)
    for _ in range(100):
        try:
            line.connect(str(path))
            return line
        except OSError:
            time.sleep(0.1)
    raise AssertionError(f"no machine behind {path}")
