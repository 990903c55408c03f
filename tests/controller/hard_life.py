"""A chamber's controller as a process, on pins whose level outlives it as on a Raspberry Pi.

The level of the heat line stands in a file, so that it can be seen when the process that drove it
is dead, and be driven off by the stop step. Turns are half a second; all else is as in earnest.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

from controller.edge.journal.day_files import day_files, entries_in
from controller.simulation.onewire import scratchpad, slave_text
from tests.broker import wait_for

ROM = "28-0316a2791aff"
TICK_S = 0.5
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
PROGRAM = """
import os, sys
from dataclasses import replace
from pathlib import Path
from gpiozero.pins.mock import MockFactory, MockPin
from controller import chamber
from controller.edge import probe_reader
from controller.errors import BarmkeepError
from controller.settings import load

place = Path(sys.argv[1])

class LastingPin(MockPin):
    def _change_state(self, value):
        changed = super()._change_state(value)
        (place / f"gpio{self.info.name.removeprefix('GPIO')}").write_text(str(int(value)))
        return changed

factory = MockFactory(pin_class=LastingPin)
chamber.PINS_FOLDER = place / "run"
chamber.open_pin_factory = lambda name: factory
settings = load(place / "left.toml")
settings = replace(settings, chamber=replace(settings.chamber, tick_s=TICK_S))
exec(os.environ.get("SABOTAGE", ""))
try:
    chamber.keep(settings)
except BarmkeepError as error:
    sys.exit(f"{error.what} {error.remedy}")
""".replace("TICK_S", str(TICK_S))
STOP = """
import sys
from pathlib import Path
from controller import stop
place = Path(sys.argv[1])
stop.PINS_FOLDER = place / "run"
stop.lgpio_drive = lambda: lambda gpio, level: (place / f"gpio{gpio}").write_text(str(level))
sys.exit(stop.main(["--chamber", "left"]))
"""


class Life:
    """One controller and what is seen of it from outside."""

    def __init__(self, place: Path, journal: Path | None = None) -> None:
        self.place, self.journal = place, journal or place / "journal"
        probe = place / "bus" / ROM
        probe.mkdir(parents=True)
        self.probe_file = probe / "w1_slave"
        self.probe_file.write_bytes(slave_text(scratchpad(20 * 16)))
        (place / "run").mkdir()
        text = SETTINGS.format(rom=ROM, bus=place / "bus", journal=self.journal)
        (place / "left.toml").write_text(text)

    def start(self, sabotage: str = "", **environment: str) -> subprocess.Popen[str]:
        """Starts it; `sabotage` is run in it just before it begins."""
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(self.place)],
            env=os.environ | {"SABOTAGE": sabotage} | environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        return self.process

    @property
    def level(self) -> int | None:
        """The heat line's level now, whoever drove it."""
        try:
            return int((self.place / "gpio17").read_text() or "0")
        except FileNotFoundError:
            return None

    def heats(self) -> Life:
        """Waits until the heat is on."""
        wait_for(lambda: self.level == 1 or self._has_died(), 60)
        return self

    def _has_died(self) -> bool:
        assert self.process.poll() is None, self.process.communicate()
        return False

    def stop_step(self) -> subprocess.CompletedProcess[str]:
        """What the service manager runs after every end."""
        command = [sys.executable, "-c", STOP, str(self.place)]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    def lines(self) -> list[dict[str, object]]:
        """Every line of the journal."""
        folder = self.journal / "left"
        files = day_files(folder) if folder.exists() else []
        return [json.loads(entry.text) for each in files for entry in entries_in(each)]

    def ticks(self) -> list[dict[str, object]]:
        """Every tick of the journal."""
        return [line for line in self.lines() if line["is"] == "tick"]

    def ends(self, number: signal.Signals = signal.SIGTERM) -> str:
        """Ends it with a signal and gives what it said on its way."""
        self.process.send_signal(number)
        _, errors = self.process.communicate(timeout=60)
        return errors


class Supervisor:
    """What systemd does with `Type=notify` and a watchdog: hears, waits, kills, runs the stop step.

    Args:
        life: whom it watches.
        patience_s: the longest silence it bears.
    """

    def __init__(self, life: Life, patience_s: float) -> None:
        self._life, self._patience_s = life, patience_s
        self._address = str(life.place / "notify")
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(self._address)
        self.environment = {
            "NOTIFY_SOCKET": self._address,
            "WATCHDOG_USEC": str(int(patience_s * 1e6)),
        }

    def hears(self, word: bytes) -> None:
        """Waits for a word."""
        self._socket.settimeout(60.0)
        while self._socket.recv(100) != word:
            pass

    def watches(self) -> subprocess.CompletedProcess[str]:
        """Until no word comes; then it kills, runs the stop step and gives its result."""
        self._socket.settimeout(self._patience_s)
        try:
            while self._socket.recv(100):
                pass
        except TimeoutError:
            self._life.process.kill()
            self._life.process.communicate(timeout=60)
        return self._life.stop_step()

    def close(self) -> None:
        self._socket.close()
