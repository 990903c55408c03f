"""A program the demo runs beside itself, on a leash: it ends when the demo does, however that ends.

What the program says goes into a log file in the demo's folder, whose end is shown when it fails.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from dashboard.demo import leash

LEASH = Path(leash.__file__)
ROOT = LEASH.parents[2]  # Why: the folder of both packages, installed or not.
END_S = leash.POLITE_S + 5  # Why: the leash ends the program within its own patience.
LOG_LINES_SHOWN = 8  # Why: an error of ours takes two to four lines.


class Child:
    """A program running beside the demo."""

    def __init__(self, name: str, command: Sequence[str], folder: Path) -> None:
        self.name = name
        self.log = folder / f"{name}.log"
        paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
        with self.log.open("wb") as log:
            self._process = subprocess.Popen(  # noqa: S603 -- the demo's own
                [sys.executable, str(LEASH), *command],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=subprocess.STDOUT,
                cwd=folder,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
                start_new_session=True,  # A Ctrl-C in the terminal is for the demo alone.
            )

    @property
    def has_ended(self) -> bool:
        """Whether the program is no longer running."""
        return self._process.poll() is not None

    def last_words(self) -> str:
        """The end of what the program said."""
        lines = self.log.read_text(encoding="utf-8", errors="replace").splitlines()
        return "\n".join(lines[-LOG_LINES_SHOWN:])

    def end(self) -> None:
        """End the program and wait for it."""
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()
        try:
            self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
