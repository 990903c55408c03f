"""A private broker for the demo: on this machine only, on a free port, keeping nothing.

Mosquitto when it is installed, else the one from the `demo` extra. Anonymous, which loopback alone
makes right; never an example for a real broker.
"""

from __future__ import annotations

import importlib.util
import shutil
import socket
import sys
import threading
from pathlib import Path

from controller.errors import BrokerError
from dashboard.demo.child import Child

HOST = "127.0.0.1"
START_TRIES = 200  # Why: ten seconds; a broker on a busy Pi answers within one or two.
TRY_S = 0.05  # Why: short against a start, long against a try.
# Why: Debian keeps brokers where ordinary users do not look, and Homebrew elsewhere.
PLACES = ("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin")
_MOSQUITTO = """\
listener {port} 127.0.0.1
allow_anonymous true
persistence false
max_queued_messages 0
"""
# Segments are capped because this broker keeps what it passes on in memory.
_RUMQTTD = """\
id = 0

[router]
id = 0
max_connections = 50
max_outgoing_packet_count = 200
max_segment_size = 1048576
max_segment_count = 20

[v4.1]
name = "private"
listen = "127.0.0.1:{port}"
next_connection_delay_ms = 1

[v4.1.connections]
connection_timeout_ms = 60000
max_payload_size = 20480
max_inflight_count = 100
dynamic_filters = true
"""


class PrivateBroker:
    """A running broker of the demo's own.

    Raises:
        BrokerError: there is none to run, or it did not start.
    """

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        mosquitto = shutil.which("mosquitto") or shutil.which("mosquitto", path=":".join(PLACES))
        config = folder / "broker.toml"  # The name by which iotcore knows its kind of file.
        if mosquitto is not None:
            self.name = "Mosquitto"
            config.write_text(_MOSQUITTO.format(port=self.port), encoding="utf-8")
            command = [mosquitto, "-c", str(config)]
        elif importlib.util.find_spec("iotcore") is not None:
            self.name = "iotcore"
            config.write_text(_RUMQTTD.format(port=self.port), encoding="utf-8")
            command = [sys.executable, "-m", "iotcore", "--config", str(config)]
            command += ["--log-level", "CRITICAL"]  # At any other it logs every message.
        else:
            raise BrokerError(
                "There is no broker to run the demo with.",
                "Install Mosquitto, or run: pip install 'barmkeep[demo]'; or name one: --broker.",
            )
        self._child = Child("broker", command, folder)
        self._wait()

    def _wait(self) -> None:
        pause = threading.Event()
        for _ in range(START_TRIES):
            if self._child.has_ended:
                break
            if answers(HOST, self.port):
                return
            pause.wait(TRY_S)
        words = self._child.last_words()
        self.end()
        raise BrokerError(
            f"The private broker ({self.name}) did not start: {words}",
            "Name a broker that runs: --broker.",
        )

    @property
    def has_ended(self) -> bool:
        """Whether it is no longer running."""
        return self._child.has_ended

    def end(self) -> None:
        """End it and wait for it."""
        self._child.end()


def free_port() -> int:
    """A port of this machine that nobody uses just now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def answers(host: str, port: int) -> bool:
    """Whether somebody accepts connections there."""
    try:
        with socket.create_connection((host, port), timeout=1):
            return True
    except OSError:
        return False
