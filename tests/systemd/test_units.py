"""The units: systemd's own judgement of them, and what they must promise the controller."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from controller import __main__ as controller_commands
from controller import stop
from controller.edge.pins import OFF_TRIES
from controller.edge.probe_reader import DEADLINE_S
from controller.settings import ChamberSettings
from dashboard import __main__ as dashboard_commands

SHIPPED = Path(__file__).parents[2] / "systemd"
CHAMBER, PAGES = "barmkeep@.service", "barmkeep-dashboard.service"
UNITS = {CHAMBER: "barmkeep@garage-left.service", PAGES: PAGES}
needs_systemd = pytest.mark.skipif(
    not shutil.which("systemd-analyze"), reason="systemd-analyze is not installed"
)


def said(unit: str, key: str) -> list[str]:
    return re.findall(rf"^{key}=(.*)$", (SHIPPED / unit).read_text(), re.M)


def seconds(unit: str, key: str) -> float:
    return float(said(unit, key)[-1])


@pytest.fixture(params=UNITS)
def placed(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Path]:
    """The unit under the name of an instance, with a program that exists on every machine."""
    text = re.sub(r"/opt/barmkeep/bin/[\w-]+", "/bin/true", (SHIPPED / request.param).read_text())
    path = tmp_path / UNITS[request.param]
    path.write_text(text)
    return request.param, path


@needs_systemd
def test_systemd_finds_nothing_wrong(placed: tuple[str, Path]) -> None:
    ran = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", placed[1]], capture_output=True, text=True
    )
    ours = [line for line in (ran.stdout + ran.stderr).splitlines() if "barmkeep" in line]
    assert (ran.returncode, ours) == (0, [])


@needs_systemd
def test_the_exposure_is_as_stated(placed: tuple[str, Path]) -> None:
    unit, path = placed
    ran = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", path],
        capture_output=True,
        text=True,
        check=True,
    )
    (level,) = re.findall(r"Overall exposure level for \S+: ([\d.]+)", ran.stdout)
    (stated,) = re.findall(
        rf"^\| `{re.escape(unit)}` \| ([\d.]+) \|", (SHIPPED / "README.md").read_text(), re.M
    )
    assert float(level) <= float(stated) <= 1.5


def test_the_commands_in_the_units_are_understood() -> None:
    for unit, parser in (
        (CHAMBER, controller_commands._parser()),
        (PAGES, dashboard_commands._parser()),
    ):
        (line,) = said(unit, "ExecStart")
        _program, *words = shlex.split(line.replace("%i", "garage-left"))
        parser.parse_args(words)


def test_the_stop_step_runs_the_module_that_needs_nothing() -> None:
    (line,) = said(CHAMBER, "ExecStopPost")
    assert line == f"/opt/barmkeep/bin/python -I -m {stop.__name__} --chamber %i"


def test_the_stop_step_is_given_the_time_it_may_take() -> None:
    assert seconds(CHAMBER, "TimeoutStopSec") >= OFF_TRIES * stop.OFF_PAUSE_S + 10


def test_the_slowest_tick_feeds_the_watchdog_in_time() -> None:
    slowest_s = ChamberSettings.__dataclass_fields__["tick_s"].metadata["setting"]["high"]
    assert seconds(CHAMBER, "WatchdogSec") >= slowest_s + DEADLINE_S + 5


def test_the_note_of_the_lines_outlives_the_stop_and_the_other_chambers() -> None:
    assert said(CHAMBER, "RuntimeDirectory") == [stop.PINS_FOLDER.name]
    assert said(CHAMBER, "RuntimeDirectoryPreserve") == ["yes"]


@pytest.mark.parametrize("unit", UNITS)
def test_it_is_started_again_for_ever(unit: str) -> None:
    assert said(unit, "Restart") == ["always"]
    assert said(unit, "StartLimitIntervalSec") == ["0"]


def test_a_probe_reader_that_hangs_in_the_kernel_does_not_hold_up_the_stop_step() -> None:
    assert said(CHAMBER, "KillMode") == ["process"]


@pytest.mark.parametrize("unit", UNITS)
def test_a_missing_password_does_not_keep_it_from_starting(unit: str) -> None:
    defaults, loaded = said(unit, "SetCredential"), said(unit, "LoadCredential")
    names = [each.split(":")[0] for each in defaults]
    assert names[0] == "broker-password"
    assert names == [each.split(":")[0] for each in loaded]
    assert all(each.split(":")[1] for each in defaults)


def test_nothing_of_a_board_is_hidden_that_the_pin_library_needs() -> None:
    assert said(CHAMBER, "PrivateDevices") == said(CHAMBER, "ProcSubset") == []
    assert said(CHAMBER, "DeviceAllow") == ["char-gpiochip rw"]
    assert "LG_WD=/run/barmkeep" in said(CHAMBER, "Environment")
