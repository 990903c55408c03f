"""Real processes that are killed, stopped, sabotaged, and left without a disk."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import wait_for
from tests.controller.hard_life import Life, Supervisor
from tests.scenarios.garage import lines_in

ROOT = Path(__file__).parents[2]


@pytest.fixture
def life(tmp_path: Path) -> Iterator[Life]:
    one = Life(tmp_path)
    yield one
    if one.process.poll() is None:
        one.process.kill()
        one.process.communicate(timeout=60)


@pytest.mark.hazard(32)
def test_kill_9_leaves_the_line_on_until_the_stop_step_turns_it_off(life: Life) -> None:
    life.start()
    life.heats().ends(signal.SIGKILL)
    assert life.level == 1  # As on a board whose kernel keeps a dead process's output.
    stopped = life.stop_step()
    assert stopped.returncode == 0, stopped.stderr
    assert life.level == 0
    life.start()
    life.heats()
    assert any("goes on where it was" in str(line.get("text")) for line in life.lines())
    life.ends()


@pytest.mark.hazard(31)
def test_a_process_that_stands_still_is_killed_by_its_watchdog_and_the_line_is_off(
    life: Life,
) -> None:
    supervisor = Supervisor(life, patience_s=5.0)
    life.start(**supervisor.environment)
    supervisor.hears(b"READY=1")
    supervisor.hears(b"WATCHDOG=1")
    life.heats().process.send_signal(signal.SIGSTOP)
    stopped = supervisor.watches()
    assert stopped.returncode == 0, stopped.stderr
    assert life.process.returncode == -signal.SIGKILL
    assert life.level == 0
    supervisor.close()


@pytest.mark.hazard(33)
@pytest.mark.hazard(59)
def test_told_to_stop_it_is_off_before_it_ends(life: Life) -> None:
    life.start()
    life.heats()
    errors = life.ends()
    assert life.process.returncode == 0, errors
    assert life.level == 0
    assert life.lines()[-1]["state"] == "ended"


@pytest.mark.hazard(43)
def test_a_process_that_stood_still_begins_with_a_turn_off(life: Life) -> None:
    life.start("from controller.decision import interlock_rules as r; r.GAP_S_MAX = 2.0")
    life.heats().process.send_signal(signal.SIGSTOP)
    count = len(life.ticks())
    subprocess.run(["sleep", "3"], check=True)
    life.process.send_signal(signal.SIGCONT)
    wait_for(lambda: len(life.ticks()) > count + 2, 60)
    life.ends()
    after = life.ticks()[count:]
    gap = next(tick for tick in after if "after-a-gap" in tick.get("vetoes", ()))  # type: ignore[operator]
    assert gap["heat"] is False


@pytest.mark.hazard(15)
def test_a_probe_process_that_stands_still_is_replaced_and_control_goes_on(life: Life) -> None:
    life.start()
    life.heats()
    (child,) = (
        Path(f"/proc/{life.process.pid}/task/{life.process.pid}/children").read_text().split()
    )
    os.kill(int(child), signal.SIGSTOP)
    wait_for(lambda: any(tick.get("faults") == {"beer": "late"} for tick in life.ticks()), 60)
    wait_for(lambda: not life.ticks()[-1].get("faults"), 60)
    assert life.level == 1
    life.ends()
    assert life.process.returncode == 0


SABOTAGES = {
    "probes": "probe_reader.ProbeProcess.read",
    "decision": "chamber.loop.decide",
    "relays": "chamber.Relays.apply",
    "report": "chamber.report.lines",
    "journal": "chamber.Journal.append",
    "watchdog": "chamber.Watchdog.feed",
}


@pytest.mark.hazard(30)
@pytest.mark.parametrize("part", SABOTAGES)
def test_an_exception_in_any_part_turns_the_line_off(life: Life, part: str) -> None:
    owner, name = SABOTAGES[part].rsplit(".", 1)
    after = "(place / 'gpio17').exists() and (place / 'gpio17').read_text() == '1'"
    life.start(
        f"real = {owner}.{name}\n"
        f"def broken(*given, **named):\n"
        f"    if {after}: raise RuntimeError('sabotage')\n"
        f"    return real(*given, **named)\n"
        f"{owner}.{name} = broken\n"
    )
    _, errors = life.process.communicate(timeout=60)
    assert life.process.returncode != 0
    assert "sabotage" in errors
    assert life.level == 0


@pytest.mark.hazard(41)
def test_without_the_pin_library_it_refuses_to_start(life: Life) -> None:
    life.start()
    life.heats().ends()
    command = [sys.executable, "-m", "controller", "run", str(life.place / "left.toml")]
    without = {"GPIOZERO_PIN_FACTORY": "mock"}
    if Path("/dev/gpiochip0").exists():
        pytest.skip("here it would drive a real line")
    refused = subprocess.run(
        command, env=os.environ | without, capture_output=True, text=True, check=False
    )
    assert refused.returncode == 2
    assert len(refused.stderr.strip().splitlines()) == 2


def test_kill_9_of_a_live_simulation_leaves_a_whole_journal(tmp_path: Path) -> None:
    words = [
        "simulate",
        "--days",
        "0.02",
        "--then-live",
        "--pace",
        "100",
        "--journal",
        str(tmp_path),
    ]
    for _ in range(2):
        process = subprocess.Popen(
            [sys.executable, "-m", "controller", *words], cwd=ROOT, stderr=subprocess.DEVNULL
        )
        before = len(list(lines_in(tmp_path)))
        wait_for(lambda before=before: len(list(lines_in(tmp_path))) > before + 200, 60)
        process.kill()
        process.wait(60)
    by_boot: dict[str, list[int]] = {}
    for line in lines_in(tmp_path):
        by_boot.setdefault(line.boot, []).append(line.seq)
    assert len(by_boot) == 2
    assert all(seqs == list(range(1, len(seqs) + 1)) for seqs in by_boot.values())


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of half a megabyte."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount a small file system")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.hazard(47)
@pytest.mark.parametrize("trouble", ["full", "read-only"])
def test_with_a_full_and_a_read_only_disk_control_goes_on(
    tmp_path: Path, small_disk: Path, trouble: str
) -> None:
    life = Life(tmp_path, small_disk)
    life.start("from controller.decision import alarm_terms; alarm_terms.DELAY_S = 0.0")
    life.heats()
    wait_for(lambda: len(life.ticks()) > 2, 60)
    ballast = small_disk / "ballast"
    if trouble == "full":
        with ballast.open("wb", buffering=0) as file:
            try:
                while file.write(b"x" * 4096):
                    pass
            except OSError:
                pass
    else:
        # Why: an open file keeps a plain remount from being taken.
        remount = ["mount", "-o", "remount,ro", str(small_disk)]
        if subprocess.run(remount, capture_output=True, check=False).returncode:
            life.ends()
            pytest.skip("this kernel does not remount a file system that is being written")
    written = len(life.lines())
    subprocess.run(["sleep", "4"], check=True)
    assert life.level == 1
    if trouble == "full":
        ballast.unlink()
    else:
        subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    wait_for(lambda: len(life.lines()) > written + 6, 60)
    life.ends()
    assert life.level == 0
    assert [line["seq"] for line in life.lines()] == list(range(1, len(life.lines()) + 1))
