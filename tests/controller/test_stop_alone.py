"""`barmkeep off`: without settings, without the heavy parts, and in one breath."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.__main__ import main

ROOT = Path(__file__).parents[2]
HEAVY = {"gpiozero", "lgpio", "paho", "w1thermsensor", "simple_pid", "controller.settings"}


@pytest.mark.hazard(32)
def test_the_service_s_stop_step_needs_no_settings_and_loads_nothing_heavy(tmp_path: Path) -> None:
    program = (
        "import sys\nfrom pathlib import Path\nfrom controller import stop\n"
        f"stop.PINS_FOLDER = Path({str(tmp_path)!r})\n"
        "stop.lgpio_drive = lambda: lambda gpio, level: print(gpio, level)\n"
        "code = stop.main([])\nprint(*sys.modules)\nsys.exit(code)"
    )
    (tmp_path / "left.pins").write_text("17 high\n")
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert ran.returncode == 0, ran.stderr
    first, _, modules = ran.stdout.splitlines()
    assert first == "17 0"
    assert not HEAVY & set(modules.split())


def test_the_command_does_it_too_wherever_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    driven: list[tuple[int, int]] = []
    monkeypatch.setattr("controller.stop.PINS_FOLDER", tmp_path)
    monkeypatch.setattr(
        "controller.stop.lgpio_drive", lambda: lambda gpio, level: driven.append((gpio, level))
    )
    monkeypatch.chdir(tmp_path)
    (tmp_path / "left.pins").write_text("17 high\n22 low\n")
    assert main(["off"]) == 0
    assert driven == [(17, 0), (22, 1)]
    assert capsys.readouterr().out == "Off: GPIO 17, GPIO 22\n"
