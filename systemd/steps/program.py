"""The programs in an environment of their own: fetched, built, put in place of the former ones.

What may fail is done while the chambers run on; they stop only for the last step.
"""

from __future__ import annotations

import hashlib
import importlib.util
import shutil
import sys
import tempfile
from pathlib import Path

from steps.hand import Hand, InstallError, running_chambers

SOURCE = Path(__file__).resolve().parents[2]
HOME = Path("/opt/barmkeep")
PARTS = ("pyproject.toml", "README.md", "controller", "dashboard")
STAMP = HOME / "installed-from"
# Why: for newer ones there is no ready-made lgpio; the system's own package is used instead.
WHEELS_UP_TO = (3, 11)


def put_program(hand: Hand, wheels: Path | None) -> None:
    """Fetch and build while chambers run on; only then stop them, replace and start again."""
    stamp = fingerprint()
    if STAMP.exists() and STAMP.read_text() == stamp:
        hand.say("as it is", HOME)
        return
    has_wheel = sys.version_info[:2] <= WHEELS_UP_TO
    if not has_wheel and not importlib.util.find_spec("lgpio"):
        raise InstallError(
            "The pin library is missing, and there is no ready-made one for this Python.\n"
            "Install it first: apt-get install python3-lgpio"
        )
    if not (HOME / "bin" / "python").exists():
        more = () if has_wheel else ("--system-site-packages",)
        hand.run(sys.executable, "-m", "venv", *more, HOME)
    with tempfile.TemporaryDirectory() as folder:
        built = fetch(hand, Path(folder), "[pi]" if has_wheel else "", wheels)
        running = running_chambers()
        for unit in running:
            hand.run("systemctl", "stop", unit)
        try:
            pip = (HOME / "bin" / "python", "-m", "pip", "install", "-q", "--no-index", "--no-deps")
            hand.run(*pip, "--force-reinstall", *built)
            hand.write(STAMP, stamp)
        finally:
            for unit in running:
                hand.run("systemctl", "start", unit)


def fetch(hand: Hand, folder: Path, extra: str, wheels: Path | None) -> list[Path]:
    """Everything to install, as wheels, built from a copy so that the checkout stays as it is."""
    copy, built = folder / "source", folder / "wheels"
    if not hand.is_dry:
        copy.mkdir()
        for part in PARTS:
            if (SOURCE / part).is_dir():
                unwanted = shutil.ignore_patterns("__pycache__")
                shutil.copytree(SOURCE / part, copy / part, ignore=unwanted)
            else:
                shutil.copy(SOURCE / part, copy / part)
    offline = ("--no-index", "--find-links", wheels) if wheels else ()
    pip = (HOME / "bin" / "python", "-m", "pip", "wheel", "-q", "--wheel-dir", built)
    hand.run(*pip, *offline, f"{copy}{extra}")
    return sorted(built.glob("*.whl"))


def fingerprint() -> str:
    """What is to be installed, in one line: the same for the same files and the same Python."""
    summed = hashlib.sha256(sys.version.encode())
    for part in PARTS:
        whole = SOURCE / part
        for path in sorted(whole.rglob("*")) if whole.is_dir() else [whole]:
            if path.is_file() and "__pycache__" not in path.parts:
                summed.update(str(path.relative_to(SOURCE)).encode() + b"\0" + path.read_bytes())
    return summed.hexdigest() + "\n"
