"""A real Mosquitto for the tests: on loopback, on a free port, stoppable and startable again."""

from __future__ import annotations

import shutil
import socket
import subprocess
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

BINARY = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Mosquitto:
    """One broker process. `stop` and `start` keep the port; nothing is persisted.

    Args:
        folder: where its configuration and log are written.
        more: further lines of its configuration; give `allow_anonymous false` here to refuse.
    """

    def __init__(self, folder: Path, more: str = "allow_anonymous true") -> None:
        self.host, self.port = "127.0.0.1", free_port()
        self.log = folder / "mosquitto.log"
        self._configuration = folder / "mosquitto.conf"
        self._configuration.write_text(
            f"listener {self.port} {self.host}\nuser root\npersistence false\n"
            f"max_queued_messages 0\n{more}\n"
        )
        self._broker: subprocess.Popen[bytes] | None = None
        self._ears: list[Ear] = []

    def start(self) -> Mosquitto:
        """Start it and wait until it listens."""
        assert self._broker is None and BINARY is not None
        command = [BINARY, "-v", "-c", str(self._configuration)]
        with self.log.open("ab") as log:
            self._broker = subprocess.Popen(command, stdout=log, stderr=log)
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex((self.host, self.port)) == 0:
                    return self
            assert self._broker.poll() is None, self.log.read_text()
            time.sleep(0.02)
        raise AssertionError("mosquitto does not listen")

    def stop(self, hard: bool = False) -> None:
        """Stop it; `hard` kills it, as a power cut would."""
        if self._broker is not None:
            self._broker.kill() if hard else self._broker.terminate()
            self._broker.wait(10)
            self._broker = None

    def ear(self, *topics: str, **credentials: str) -> Ear:
        """Someone who listens, and is closed with the broker's `close`."""
        self._ears.append(Ear(self.port, topics, **credentials))
        return self._ears[-1]

    def close(self) -> None:
        """End every listener and the broker."""
        for ear in self._ears:
            ear.close()
        self.stop()


class Ear:
    """Listens to topics through every restart of the broker, and can say things itself.

    `heard` holds (topic, payload, retained) in the order of arrival.
    """

    def __init__(
        self, port: int, topics: tuple[str, ...], user: str = "", password: str = ""
    ) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self._topics = topics
        self._ready = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        if user:
            self.client.username_pw_set(user, password)
        self.client.max_queued_messages_set(0)
        self.client.reconnect_delay_set(1, 1)
        self.client.on_connect = self._subscribe
        self.client.on_subscribe = lambda *_: self._ready.set()
        self.client.on_message = self._hear
        self.client.connect_async("127.0.0.1", port, 10)
        self.client.loop_start()
        if topics:
            assert self._ready.wait(10), "the broker did not answer"

    def _subscribe(self, client: mqtt.Client, *_: object) -> None:
        if self._topics:
            client.subscribe([(each, 1) for each in self._topics])

    def _hear(self, _client: mqtt.Client, _mine: object, message: mqtt.MQTTMessage) -> None:
        self.heard.append((message.topic, bytes(message.payload), message.retain))

    def say(self, topic: str, payload: str | bytes, retain: bool = False) -> None:
        """Publish and wait until the broker has it."""
        wait_for(self.client.is_connected)
        self.client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)

    def close(self) -> None:
        """Disconnect."""
        self.client.disconnect()
        self.client.loop_stop()


def wait_for(condition, within_s: float = 20.0):
    """Wait until the condition holds and return what it gave."""
    until_s = time.monotonic() + within_s
    while not (found := condition()):
        assert time.monotonic() < until_s, "it did not happen in time"
        time.sleep(0.02)
    return found
