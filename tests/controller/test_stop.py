"""The stop step: it needs nothing, finds the lines, and says which it could not turn off."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller import stop
from controller.errors import WiringError


def test_the_stop_step_without_noted_lines_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stop, "PINS_FOLDER", tmp_path)
    with pytest.raises(WiringError, match="--gpio"):
        stop.turn_off((), False, None, lambda: None)


def test_the_stop_step_drives_every_line_and_says_which_it_could_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    driven: list[tuple[int, int]] = []

    def drive(gpio: int, level: int) -> None:
        if gpio == 27:
            raise OSError("busy")
        driven.append((gpio, level))

    monkeypatch.setattr(stop, "PINS_FOLDER", tmp_path)
    monkeypatch.setattr(stop, "lgpio_drive", lambda: drive)
    (tmp_path / "left.pins").write_text("17 high\n22 low\n")
    assert [pin.gpio for pin in stop.turn_off((), False, None, lambda: None)] == [17, 22]
    assert driven == [(17, 0), (22, 1)]
    with pytest.raises(WiringError, match="Unplug the heat pad now"):
        stop.turn_off((17, 27), False, None, lambda: None)


def test_only_the_named_chambers_lines_are_driven(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    driven: list[int] = []
    monkeypatch.setattr(stop, "PINS_FOLDER", tmp_path)
    monkeypatch.setattr(stop, "lgpio_drive", lambda: lambda gpio, level: driven.append(gpio))
    (tmp_path / "left.pins").write_text("17 high\n")
    (tmp_path / "right.pins").write_text("27 high\n")
    assert stop.main(["--chamber", "right"]) == 0
    assert driven == [27]
    assert capsys.readouterr().out == "Off: GPIO 27\n"
    assert stop.main(["--chamber", "third"]) == 2
    assert "No chamber called third" in capsys.readouterr().err


def test_it_loads_no_library_that_an_upgrade_could_have_broken() -> None:
    program = "import sys, controller.stop; print(*sys.modules)"
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    loaded = {name.split(".")[0] for name in ran.stdout.split()}
    assert not loaded & {"gpiozero", "lgpio", "paho", "w1thermsensor", "simple_pid", "starlette"}


@pytest.mark.skipif(Path("/dev/gpiochip0").exists(), reason="here it would drive a real line")
def test_where_there_are_no_pins_it_says_so_and_what_to_do(tmp_path: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "controller.stop", "--gpio", "17"], capture_output=True, text=True
    )
    assert ran.returncode == 2
    assert len(ran.stderr.splitlines()) == 2
