"""One real chamber as a process: settings, probe files, gpiozero, journal and signals."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller.edge.journal.day_files import day_files, entries_in
from controller.simulation.onewire import scratchpad, slave_text

ROM = "28-0316a2791aff"
SETTINGS = """
[chamber]
name = "left"
tick_s = 5
[vessel]
volume_l = 20
pad_w = 60
[probes]
beer = "{rom}"
folder = "{bus}"
[relays]
heat_gpio = 17
[batch]
name = "one"
target_c = 35
[journal]
folder = "{journal}"
"""
# Why: no GPIO chip here, so the process is given gpiozero's own stand-in for one; all else is real.
PROGRAM = """
import sys
from pathlib import Path
from gpiozero.pins.mock import MockFactory
from controller import chamber, __main__
factory = MockFactory()
chamber.PINS_FOLDER = Path(sys.argv[1])
chamber.open_pin_factory = lambda name: factory
code = __main__.main(["run", *sys.argv[2:]])
pin = factory.pin(17)
print("levels", [state.state for state in pin.states], flush=True)
sys.exit(code)
"""


@pytest.fixture
def place(tmp_path: Path) -> Path:
    probe = tmp_path / "bus" / ROM
    probe.mkdir(parents=True)
    (probe / "w1_slave").write_bytes(slave_text(scratchpad(20 * 16)))
    (tmp_path / "run").mkdir()
    (tmp_path / "left.toml").write_text(
        SETTINGS.format(rom=ROM, bus=tmp_path / "bus", journal=tmp_path / "journal")
    )
    return tmp_path


def started(place: Path, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(place / "run"), str(place / "left.toml"), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def lines_of(place: Path) -> list[dict[str, object]]:
    folder = place / "journal" / "left"
    files = day_files(folder) if folder.exists() else []
    return [json.loads(entry.text) for each in files for entry in entries_in(each)]


def wait_for_ticks(place: Path, count: int, process: subprocess.Popen[str]) -> None:
    for _ in range(600):
        if sum(line["is"] == "tick" for line in lines_of(place)) >= count:
            return
        if process.poll() is not None:
            raise AssertionError(process.communicate())
        time.sleep(0.1)
    raise AssertionError("no ticks")


def test_a_life_from_start_to_sigterm(place: Path) -> None:
    process = started(place)
    wait_for_ticks(place, 4, process)
    process.send_signal(signal.SIGTERM)
    told, errors = process.communicate(timeout=30)
    assert process.returncode == 0, errors
    lines = lines_of(place)
    assert lines[0]["text"] == "Started."
    assert lines[-1]["code"] == "controller"
    assert lines[-1]["state"] == "ended"
    ticks = [line for line in lines if line["is"] == "tick"]
    assert ticks[-1]["beer_c"] == 20.0
    assert ticks[-1]["heat"] is True
    levels = told.split("levels ")[1]
    assert levels.startswith("[False")
    assert levels.rstrip().endswith("False]")
    assert (place / "run" / "left.pins").read_text() == "17 high\n"


def test_a_second_start_is_refused_and_a_killed_one_goes_on_where_it_was(place: Path) -> None:
    process = started(place)
    wait_for_ticks(place, 1, process)
    second = started(place)
    _, errors = second.communicate(timeout=30)
    assert second.returncode == 2
    assert "stop it first" in errors
    os.kill(process.pid, signal.SIGKILL)
    process.communicate(timeout=30)
    before = len(lines_of(place))
    again = started(place)
    for _ in range(300):
        if len(lines_of(place)) > before:
            break
        time.sleep(0.1)
    again.send_signal(signal.SIGTERM)
    again.communicate(timeout=30)
    begun = lines_of(place)[before]
    assert begun["text"] == "Started. Step 1 goes on where it was."


def test_an_unknown_trip_to_release_is_refused_before_anything_is_opened(place: Path) -> None:
    process = started(place, "--release", "nonsense")
    _, errors = process.communicate(timeout=30)
    assert process.returncode == 2
    assert "beer-too-hot" in errors
    assert not (place / "journal").exists()
