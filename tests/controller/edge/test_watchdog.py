"""Telling systemd: what it hears on a real datagram socket (protocol: man 3 sd_notify)."""

import socket
import uuid
from contextlib import closing

import pytest

from controller.edge.watchdog import Watchdog


@pytest.fixture(params=["file", "abstract"])
def manager(request, tmp_path):
    """A service manager's ear, on a path or on an abstract name."""
    name = str(tmp_path / "notify") if request.param == "file" else f"@{uuid.uuid4().hex}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind("\0" + name[1:] if name.startswith("@") else name)
        ear.settimeout(5)
        yield name, ear


def test_each_word_arrives_as_systemd_spells_it(manager):
    name, ear = manager
    with closing(Watchdog.from_environment({"NOTIFY_SOCKET": name})) as watchdog:
        watchdog.ready()
        watchdog.feed()
        watchdog.status("holding 35.0 °C")
        watchdog.stopping()
    heard = [ear.recv(1000).decode() for _ in range(4)]
    assert heard == ["READY=1", "WATCHDOG=1", "STATUS=holding 35.0 °C", "STOPPING=1"]


def test_a_status_is_one_short_line(manager):
    name, ear = manager
    with closing(Watchdog(name, None)) as watchdog:
        watchdog.status("a\nREADY=1 " + "x" * 1000)
    heard = ear.recv(5000).decode()
    assert heard.startswith("STATUS=a READY=1 x") and len(heard) == len("STATUS=") + 200


def test_without_systemd_it_is_silent():
    watchdog = Watchdog.from_environment({})
    watchdog.ready()
    watchdog.feed()
    watchdog.close()
    assert watchdog.interval_s is None


@pytest.mark.parametrize(
    ("usec", "interval_s"),
    [("30000000", 30.0), ("1500000", 1.5), ("", None), ("0", None), ("soon", None)],
)
def test_the_interval_comes_from_the_environment(usec, interval_s):
    assert Watchdog.from_environment({"WATCHDOG_USEC": usec}).interval_s == interval_s


def test_a_manager_that_is_gone_stops_nothing(tmp_path):
    with closing(Watchdog(str(tmp_path / "nobody"), None)) as watchdog:
        watchdog.feed()


def test_a_manager_that_does_not_listen_never_blocks_the_loop(manager):
    with closing(Watchdog(manager[0], None)) as watchdog:
        for _ in range(2000):  # More datagrams than any queue holds.
            watchdog.feed()


def test_after_close_it_is_silent(manager):
    name, ear = manager
    watchdog = Watchdog(name, None)
    watchdog.close()
    watchdog.feed()
    ear.setblocking(False)
    with pytest.raises(BlockingIOError):
        ear.recv(100)
