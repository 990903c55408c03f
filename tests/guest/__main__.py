"""Proof on a real kernel, by one command: `python -m tests.guest [PART…]`.

    root    the installer in a clean Debian: twice, then taken away with nothing left
    guest   a Linux with a simulated GPIO chip and systemd, watched from outside
    NAME    one of its checks

Without a part, both. `--folder` keeps what was made, for the next time. See workshop.py for what it
needs. It ends with 0 when everything was shown.
"""

from __future__ import annotations

import argparse
import time
import traceback
from pathlib import Path

from tests.guest import clean_root, image, workshop
from tests.guest.checks import CHECKS, Board
from tests.guest.machine import Machine


def main() -> int:
    """Runs the parts; its exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.guest", description=__doc__)
    names = [check.__name__ for check in CHECKS]
    parser.add_argument("parts", nargs="*", metavar="PART", help="root, guest, or a check's name")
    parser.add_argument("--folder", type=Path, default=Path.home() / ".cache" / "barmkeep-guest")
    asked = parser.parse_args()
    unknown = set(asked.parts) - {"root", "guest", *names}
    if unknown:
        parser.error(
            f"no part is called {unknown.pop()}; there are: root, guest, {', '.join(names)}"
        )
    if lacking := workshop.missing():
        parser.error(f"these programs are missing: {', '.join(lacking)}")
    asked.folder.mkdir(parents=True, exist_ok=True)
    failed = 0
    if not asked.parts or "root" in asked.parts:
        failed += _shown("installer in a clean Debian", lambda: clean_root.tried(asked.folder))
    chosen = [c for c in CHECKS if not asked.parts or {"guest", c.__name__} & set(asked.parts)]
    if chosen:
        failed += _guest(asked.folder, chosen)
    print(f"{failed} failed" if failed else "all shown", flush=True)
    return 1 if failed else 0


def _guest(folder: Path, chosen: list) -> int:  # type: ignore[type-arg]
    began_s = time.monotonic()
    kernel = workshop.kernel(folder) / "vmlinux"
    disk, early = image.image(folder)
    made_s = time.monotonic() - began_s
    machine = Machine(folder, kernel, disk, early)
    print(
        f"made in {made_s:.0f} s, booted in {time.monotonic() - began_s - made_s:.0f} s", flush=True
    )
    try:
        board = Board(machine)
        board.put_probe()
        return sum(_shown(check.__name__, lambda c=check: c(board)) for check in chosen)  # type: ignore[misc]
    finally:
        machine.close()


def _shown(name: str, check) -> int:  # type: ignore[no-untyped-def]
    began_s = time.monotonic()
    try:
        told, word = check(), "shown "
    except Exception as error:
        told, word = "".join(traceback.format_exception_only(error)).strip(), "FAILED"
    print(f"{word} {name} ({time.monotonic() - began_s:.0f} s): {told}", flush=True)
    return word != "shown "


if __name__ == "__main__":
    raise SystemExit(main())
