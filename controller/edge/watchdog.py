"""Telling systemd that this program is ready, alive or stopping.

The loop feeds the watchdog after a whole tick has succeeded and never otherwise, so a loop that
hangs is killed and the stop step of its unit switches off. Without systemd every call is silent.
Nothing here decides anything. Protocol: man 3 sd_notify.
"""

from __future__ import annotations

import socket
from collections.abc import Mapping

# Why: systemd shows one line; a longer one is cut so that a datagram never fails for its size.
STATUS_CHARACTERS_MAX = 200


class Watchdog:
    """A line to the service manager. Never raises: a deaf manager must not stop the loop.

    Args:
        address: path of the notify socket, or `@name` for an abstract one; None to stay silent.
        interval_s: the longest silence the manager bears, in seconds; None when it does not watch.
    """

    def __init__(self, address: str | None, interval_s: float | None) -> None:
        self.interval_s = interval_s
        self._address = None if address is None else _socket_address(address)
        self._socket = None if address is None else _datagram_socket()

    @classmethod
    def from_environment(cls, environ: Mapping[str, str]) -> Watchdog:
        """The watchdog this process was started under (NOTIFY_SOCKET, WATCHDOG_USEC)."""
        microseconds = environ.get("WATCHDOG_USEC", "")
        interval_s = int(microseconds) / 1e6 if microseconds.isdecimal() else None
        return cls(environ.get("NOTIFY_SOCKET") or None, interval_s or None)

    def ready(self) -> None:
        """Everything is built and the first tick has succeeded."""
        self._say("READY=1")

    def feed(self) -> None:
        """One whole tick has succeeded."""
        self._say("WATCHDOG=1")

    def status(self, text: str) -> None:
        """One line for whoever asks systemctl how this service is."""
        self._say("STATUS=" + " ".join(text.split())[:STATUS_CHARACTERS_MAX])

    def stopping(self) -> None:
        """The loop has ended and the relays are off."""
        self._say("STOPPING=1")

    def _say(self, text: str) -> None:
        if self._socket is None or self._address is None:
            return
        try:
            self._socket.sendto(text.encode(), self._address)
        except OSError:
            return  # Why: it will miss us and act, which is its job; ours is to go on controlling.

    def close(self) -> None:
        """Give the socket back; later calls are silent."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None


def _socket_address(address: str) -> str:
    return "\0" + address[1:] if address.startswith("@") else address


def _datagram_socket() -> socket.socket:
    line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
    line.setblocking(False)
    return line
