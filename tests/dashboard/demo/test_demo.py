"""The demo as a user starts it: it shows a batch, says what is in its way, and leaves nothing."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from tests.broker import free_port, wait_for

ROOT = Path(__file__).parents[3]
COMMAND = [sys.executable, "-m", "dashboard", "demo"]


class Demo:
    """One running demo. Everything it starts carries its folder in the command line."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.port = free_port()
        self.folder = folder
        self.output = folder.with_name(f"{folder.name}.out")
        with self.output.open("wb") as output:
            self.program = subprocess.Popen(
                [*COMMAND, "--port", str(self.port), "--folder", str(folder), *words],
                cwd=ROOT,
                stdout=output,
                stderr=subprocess.STDOUT,
            )

    def says(self) -> str:
        return self.output.read_text()

    def page(self, path: str = "/chambers/demo-garage") -> str:
        try:
            answer = httpx.get(f"http://127.0.0.1:{self.port}{path}", timeout=10)
        except httpx.TransportError:
            return ""
        return answer.text if answer.status_code == 200 else ""

    def left(self) -> list[str]:
        """The command lines of every process of this demo but itself."""
        return [line for _, line in self.children()]

    def children(self) -> list[tuple[int, str]]:
        """Every process of this demo but itself: (id, command line)."""
        found = []
        for each in Path("/proc").iterdir():
            if each.name.isdigit() and int(each.name) != self.program.pid:
                try:
                    line = (each / "cmdline").read_bytes().replace(b"\0", b" ").decode()
                except OSError:
                    continue
                if str(self.folder) in line:
                    found.append((int(each.name), line))
        return found


@pytest.fixture
def demo(tmp_path):
    started: list[Demo] = []

    def start(*words: str) -> Demo:
        started.append(Demo(tmp_path / f"demo{len(started)}", *words))
        return started[-1]

    yield start
    for each in started:
        each.program.kill()
        each.program.wait()


def refused(*words: str, env: dict[str, str] | None = None) -> str:
    """What a demo that cannot start says."""
    ended = subprocess.run(
        [*COMMAND, *words], cwd=ROOT, capture_output=True, text=True, timeout=60, env=env
    )
    assert ended.returncode == 2, ended
    assert "Traceback" not in ended.stderr
    return ended.stderr


def test_it_shows_a_batch_with_readings_and_goes_on_live_then_ends_on_ctrl_c(demo):
    running = demo("--days", "1", "--pace", "120")
    wait_for(lambda: "Open http" in running.says(), 30)
    wait_for(lambda: "Winter one" in running.page(), 60)
    wait_for(lambda: re.search(r"\d\d\.\d\s°C", running.page()), 60)
    wait_for(lambda: running.page().count("1.04") >= 1, 60)
    assert len(running.left()) >= 4  # two leashes, the broker, the controller
    running.program.send_signal(signal.SIGINT)
    assert running.program.wait(20) == 0
    assert running.left() == []
    assert "Traceback" not in running.says()
    assert (running.folder / "dashboard.db").exists()


def test_sigterm_ends_it_cleanly_even_with_a_stream_open(demo):
    running = demo("--days", "0.1")
    wait_for(lambda: running.page(), 60)
    with httpx.stream(
        "GET", f"http://127.0.0.1:{running.port}/chambers/demo-garage/stream", timeout=10
    ) as stream:
        next(stream.iter_lines())
        began_s = time.monotonic()
        running.program.terminate()
        assert running.program.wait(20) == 0
        assert time.monotonic() - began_s < 12
    assert running.left() == []


def test_killed_outright_it_leaves_nothing_running(demo):
    running = demo("--days", "0.1")
    wait_for(lambda: running.page(), 60)
    assert running.left()
    running.program.kill()
    running.program.wait()
    wait_for(lambda: running.left() == [], 20)


def test_a_busy_port_is_named_before_anything_is_started(demo):
    running = demo("--days", "0.1")
    wait_for(lambda: running.page("/"), 60)
    said = refused("--port", str(running.port))
    assert f"127.0.0.1:{running.port}" in said and "choose another port" in said


def test_a_second_demo_in_the_same_folder_is_refused(demo):
    running = demo("--days", "0.1")
    wait_for(lambda: running.page("/"), 60)
    said = refused("--port", str(free_port()), "--folder", str(running.folder))
    assert "is not empty" in said and "Name a new folder" in said


def test_when_its_controller_ends_it_says_so_and_ends(demo):
    running = demo("--days", "0.1")
    wait_for(lambda: running.page(), 60)
    (controller,) = [pid for pid, line in running.children() if " -m controller " in line[:80]]
    os.kill(controller, signal.SIGKILL)
    assert running.program.wait(30) == 2
    assert "The simulated controller ended by itself" in running.says()
    assert running.left() == []


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--broker", "127.0.0.1:1"], "No broker answers on 127.0.0.1:1."),
        (["--broker", "1883"], "is not HOST:PORT"),
        (["--port", "0"], "is no port"),
        (["--pace", "0"], "is no number from 1 to 3600"),
        (["--days", "nan"], "is no number from 0.1 to 14"),
        (["--folder", "/proc/none"], "folder cannot be made"),
    ],
)
def test_what_is_in_its_way_is_said_in_words(words, expected):
    port = [] if "--port" in words else ["--port", str(free_port())]
    assert expected in refused(*port, *words)
