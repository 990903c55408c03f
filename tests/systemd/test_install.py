"""The installer as far as it goes without changing this machine.

The rest, in a clean Debian, is `python -m tests.guest root`.
"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]
PROGRAM = ROOT / "systemd" / "install.py"


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(ROOT / "systemd"))
    spec = importlib.util.find_spec("steps.hand")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def ran(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, PROGRAM, *words], capture_output=True, text=True)


def test_a_dry_run_says_everything_and_changes_nothing() -> None:
    done = ran("--dry-run", "--chamber", "garage-left", "--chamber", "garage-right")
    assert done.returncode == 0, done.stderr
    assert "changes would be made" in done.stdout
    assert "doing" not in done.stdout
    again = ran("--dry-run", "--chamber", "garage-left", "--chamber", "garage-right")
    assert again.stdout.count("would") == done.stdout.count("would")


def test_every_file_here_is_put_somewhere() -> None:
    shipped = {path.name for path in (ROOT / "systemd").iterdir() if path.is_file()}
    text = PROGRAM.read_text() + (ROOT / "systemd" / "steps" / "broker.py").read_text()
    left = {name for name in shipped if f'"{name}"' not in text and not name.endswith(".md")}
    assert left == {"install.py"}


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--chamber", "Garage Left"], "cannot be a chamber's name"),
        (["--chamber", "dashboard"], "cannot be a chamber's name"),
        (["--records"], "goes with --remove"),
        (["--nonsense"], "unrecognized"),
    ],
)
def test_what_it_does_not_understand_is_refused(words: list[str], part: str) -> None:
    done = ran(*words, "--dry-run")
    assert done.returncode == 2
    assert part in done.stderr


@pytest.mark.skipif(os.geteuid() == 0, reason="root may do everything")
def test_without_the_right_to_change_the_system_it_says_so() -> None:
    assert "sudo" in ran().stderr


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give a file away")
def test_a_file_is_written_once_and_then_left(hand: ModuleType, tmp_path: Path) -> None:
    target = tmp_path / "new" / "file"
    doer = hand.Hand(is_dry=False)
    assert doer.write(target, "one", 0o600)
    assert not doer.write(target, "one", 0o600)
    assert (target.read_text(), target.stat().st_mode & 0o777, doer.changes) == ("one", 0o600, 1)
    assert [path.name for path in target.parent.iterdir()] == ["file"]


def test_a_dry_hand_writes_links_removes_and_runs_nothing(hand: ModuleType, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.write_text("as it was")
    doer = hand.Hand(is_dry=True)
    doer.write(kept, "other")
    doer.remove(kept)
    doer.link(tmp_path / "link", kept)
    doer.run("touch", tmp_path / "touched")
    assert [path.name for path in tmp_path.iterdir()] == ["kept"]
    assert kept.read_text() == "as it was"
    assert doer.changes == 4


def test_a_program_that_fails_ends_it_with_what_was_said(hand: ModuleType) -> None:
    with pytest.raises(hand.InstallError, match="No such file"):
        hand.Hand(is_dry=False).run("ls", "/no/such/folder")
