"""The shipped broker configuration under a real Mosquitto: who may say what, and who hears it."""

from __future__ import annotations

import re
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge.courier import BrokerSettings, Courier
from controller.edge.journal import Journal, JournalSettings
from dashboard.ingest import Ingest
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings as DashboardBroker
from dashboard.store import Store
from tests.broker import Mosquitto, free_port, wait_for
from tests.controller.edge.lines import CHAMBER, tick

SHIPPED = Path(__file__).parents[2] / "systemd"
SENDERS = {"controller": CHAMBER, "dashboard": "dashboard"}
USERS = (CHAMBER, "other", "dashboard")

pytestmark = pytest.mark.skipif(
    not shutil.which("mosquitto_passwd"), reason="mosquitto is not installed"
)


def shipped_lines(folder: Path) -> str:
    """The shipped configuration with the paths of this test, its listener left to the test."""
    text = (SHIPPED / "broker.conf").read_text()
    text = text.replace("/etc/mosquitto/barmkeep.", f"{folder}/barmkeep.")
    return re.sub(r"^listener .*$", "", text, flags=re.M)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    tmp_path.chmod(0o755)
    passwords = tmp_path / "barmkeep.passwords"
    passwords.touch(mode=0o600)
    for user in USERS:
        subprocess.run(["mosquitto_passwd", "-b", passwords, user, f"{user}'s"], check=True)
        (tmp_path / user).write_text(f"{user}'s\n")
    acl = tmp_path / "barmkeep.acl"
    acl.write_text((SHIPPED / "broker.acl").read_text() + "user seer\ntopic read #\n")
    acl.chmod(0o600)
    subprocess.run(["mosquitto_passwd", "-b", passwords, "seer", "seer's"], check=True)
    running = Mosquitto(tmp_path, shipped_lines(tmp_path)).start()
    yield running
    running.close()


@pytest.mark.skipif(not shutil.which("openssl"), reason="needs openssl to make a certificate")
def test_the_proposed_lines_open_a_second_door_with_tls_alone(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    subprocess.run(
        f"openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost"
        f" -addext subjectAltName=DNS:localhost -keyout {tmp_path}/barmkeep.key"
        f" -out {tmp_path}/barmkeep.pem".split(),
        check=True,
        capture_output=True,
    )
    (tmp_path / "barmkeep.acl").write_text((SHIPPED / "broker.acl").read_text())
    (tmp_path / "barmkeep.passwords").touch()
    for path in tmp_path.iterdir():
        path.chmod(0o600)
    subprocess.run(
        ["mosquitto_passwd", "-b", tmp_path / "barmkeep.passwords", CHAMBER, "secret"], check=True
    )
    port = free_port()
    text = re.sub(r"^# (listener|certfile|keyfile) ", r"\1 ", shipped_lines(tmp_path), flags=re.M)
    text = text.replace("listener 8883", f"listener {port}")
    text = text.replace("/etc/mosquitto/certs", str(tmp_path))
    running = Mosquitto(tmp_path, text).start()
    trusting = ssl.create_default_context(cafile=str(tmp_path / "barmkeep.pem"))
    with (
        socket.create_connection(("localhost", port), 10) as plain,
        trusting.wrap_socket(plain, server_hostname="localhost") as line,
    ):
        line.sendall(connect_packet(CHAMBER, "secret"))
        assert line.recv(4) == bytes((0x20, 2, 0, 0))
    running.close()


def connect_packet(user: str, password: str) -> bytes:
    """CONNECT with a clean session. Source: OASIS MQTT 3.1.1, section 3.1 (from memory)."""
    fields = [part.encode() for part in ("test", user, password)]
    body = b"\x00\x04MQTT\x04\xc2\x00\x1e"
    body += b"".join(len(each).to_bytes(2, "big") + each for each in fields)
    return bytes((0x10, len(body))) + body


def ended(client: mqtt.Client) -> None:
    """Disconnect, and close what the library leaves open when it was refused."""
    client.disconnect()
    client.loop_stop()
    left = client.socket()
    if left is not None:
        left.close()


def told(broker: Mosquitto, user: str, topic: str) -> str:
    """What the broker answers this user's publication; only MQTT 5 says so."""
    answers: list[str] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.username_pw_set(user, f"{user}'s")
    client.on_publish = lambda *said: answers.append(str(said[3]))
    client.connect(broker.host, broker.port)
    client.loop_start()
    client.publish(topic, "x", qos=1)
    wait_for(lambda: answers)
    ended(client)
    return answers[0]


@pytest.mark.parametrize("rule", wire.TOPICS, ids=lambda rule: rule.name)
@pytest.mark.parametrize("user", USERS)
def test_each_topic_is_said_by_its_sender_alone(
    broker: Mosquitto, rule: wire.TopicRule, user: str
) -> None:
    answer = told(broker, user, f"barmkeep/left/{rule.name}")
    allowed = user == SENDERS[rule.sender]
    assert (answer != "Not authorized") is allowed, answer


@pytest.mark.parametrize("topic", ["barmkeep/left/wish", "barmkeep/left", "homie/5/test", "$SYS"])
@pytest.mark.parametrize("user", USERS)
def test_nothing_else_is_said_by_anybody(broker: Mosquitto, topic: str, user: str) -> None:
    assert told(broker, user, topic) == "Not authorized"


def test_each_hears_what_is_for_it_and_no_more(broker: Mosquitto) -> None:
    ears = {user: broker.ear("#", user=user, password=f"{user}'s") for user in (*USERS, "seer")}
    for rule in wire.TOPICS:
        ears[SENDERS[rule.sender]].say(f"barmkeep/left/{rule.name}", rule.name)
    ears["other"].say("barmkeep/other/tick", "end")
    ears["dashboard"].say("barmkeep/other/stored", "end")
    wait_for(lambda: len(ears["seer"].heard) == len(wire.TOPICS) + 2)
    wait_for(lambda: ("barmkeep/other/stored", b"end", False) in ears["other"].heard)
    wait_for(lambda: ("barmkeep/other/tick", b"end", False) in ears["dashboard"].heard)
    heard = {user: {topic for topic, _, _ in ear.heard} for user, ear in ears.items()}
    to_controller = {f"barmkeep/left/{r.name}" for r in wire.TOPICS if r.sender == "dashboard"}
    to_dashboard = {f"barmkeep/left/{r.name}" for r in wire.TOPICS if r.sender == "controller"}
    assert heard[CHAMBER] == to_controller
    assert heard["other"] == {"barmkeep/other/stored"}
    assert heard["dashboard"] == to_dashboard | {"barmkeep/other/tick"}


@pytest.mark.parametrize(("user", "password"), [("", ""), (CHAMBER, "wrong"), ("nobody", "x")])
def test_nobody_is_let_in_without_the_right_password(
    broker: Mosquitto, user: str, password: str
) -> None:
    answers: list[str] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    if user:
        client.username_pw_set(user, password)
    client.on_connect = lambda *said: answers.append(str(said[3]))
    client.connect(broker.host, broker.port)
    client.loop_start()
    wait_for(lambda: answers)
    ended(client)
    assert answers[0] == "Not authorized"


def test_the_two_programs_have_all_the_rights_they_need(broker: Mosquitto, tmp_path: Path) -> None:
    store = Store.open(tmp_path / "store.db")
    to_dashboard = DashboardBroker(
        broker.host, broker.port, "dashboard", str(tmp_path / "dashboard")
    )
    ingest = Ingest(to_dashboard, store, LiveHub(), time.time, commit_s=1.0)
    ingest.start()
    journal = Journal.open(tmp_path / "journal", JournalSettings(), Moment(0.0, 1.8e9))
    settings = BrokerSettings(broker.host, broker.port, CHAMBER, str(tmp_path / CHAMBER))
    courier = Courier(
        settings,
        journal,
        lambda state: wire.Presence(CHAMBER, journal.boot, state.value, 1.8e9, "0.1.0", 10.0),
    )
    now = Moment(10.0, 1.8e9 + 10.0)
    journal.append([tick(journal.boot, 1, now)], now, urgent=False)
    wait_for(lambda: courier.pump(now) or courier._outbox.delivered(journal.boot) == 1)
    assert courier.trouble is None
    assert ingest.trouble is None
    courier.close(now)
    courier._client._reset_sockets()  # paho leaves its wake-up pair to the collector of garbage.
    journal.close(now)
    ingest.stop()
    store.close()


def test_the_last_will_of_a_controller_is_let_through(broker: Mosquitto) -> None:
    ear = broker.ear("barmkeep/+/presence", user="dashboard", password="dashboard's")
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set(CHAMBER, f"{CHAMBER}'s")
    client.will_set("barmkeep/left/presence", "lost", qos=1, retain=True)
    client.connect(broker.host, broker.port)
    client.loop_start()
    wait_for(client.is_connected)
    client.loop_stop()
    client.socket().close()
    wait_for(lambda: [each[1] for each in ear.heard] == [b"lost"])
