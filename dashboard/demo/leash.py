"""Runs one program and ends it when our standard input closes: so nothing outlives the demo.

However the demo ends, even killed outright, the system closes its end of the pipe. This file is run
by itself as a program and needs nothing but the standard library. Usage: leash.py PROGRAM [WORD]…
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading

POLITE_S = 5.0  # Why: a controller switches off and writes down within a second or two.


def main(command: list[str]) -> int:
    """Run the command until it ends or standard input closes. Its exit status."""
    child = subprocess.Popen(command, stdin=subprocess.DEVNULL)  # noqa: S603 -- the demo's own
    signal.signal(signal.SIGTERM, lambda *_: child.terminate())
    threading.Thread(target=_end_when_let_go, args=(child,), daemon=True).start()
    return child.wait()


def _end_when_let_go(child: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        while os.read(0, 4096):
            pass
    child.terminate()
    try:
        child.wait(POLITE_S)
    except subprocess.TimeoutExpired:
        child.kill()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
