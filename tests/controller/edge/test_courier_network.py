"""What the courier bears: junk, floods, deaf and strict brokers, and its own slips."""

import shutil
import socket
import subprocess
import time

import pytest

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge import courier as courier_module
from controller.edge.courier import BrokerSettings, Courier
from controller.edge.journal import Journal, JournalSettings
from tests.broker import Mosquitto, wait_for
from tests.controller.edge.chamber import STORED, Chamber, Store, all_stored
from tests.controller.edge.lines import CHAMBER


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"{}",
        b"\xff\xff",
        b"[" * 9000,
        b"x" * 20_000,
        b'{"v":1,"is":"stored","chamber":"right","boot":"%b","through":1}',
        b'{"v":1,"is":"stored","chamber":"left","boot":"%b","through":-1}',
        b'{"v":1,"is":"stored","chamber":"left","boot":"%b","through":99}',
        b'{"v":2,"is":"stored","chamber":"left","boot":"%b","through":1}',
    ],
)
def test_junk_is_counted_and_changes_nothing(chamber, mosquitto, payload):
    chamber.connected().turn(3)
    boot = chamber.journal.boot
    mosquitto.ear().say(STORED, payload.replace(b"%b", boot.encode()), retain=bool(payload))
    chamber.until(lambda: chamber.courier.junk == 1)
    assert chamber.courier._outbox.delivered(boot) == 0
    chamber.turn(1)
    assert len(chamber.courier._on_the_way) == 4


def test_word_of_a_boot_we_never_had_is_passed_over(chamber, mosquitto):
    chamber.connected().turn(1)
    Store(mosquitto).say("0042-dead", 7)
    Store(mosquitto).say(chamber.journal.boot, 1)
    chamber.until(lambda: chamber.courier._outbox.delivered(chamber.journal.boot) == 1)
    assert chamber.courier._outbox.delivered("0042-dead") == 0


def test_a_flood_of_messages_is_bounded(chamber, mosquitto):
    chamber.connected()
    ear = mosquitto.ear()
    for _ in range(2000):
        ear.client.publish(STORED, b"junk", qos=0)
    time.sleep(0.5)
    assert len(chamber.courier._heard) <= courier_module.HEARD_MAX
    started_s = time.monotonic()
    chamber.pump()
    assert time.monotonic() - started_s < 0.2


def test_a_broker_that_never_answers_never_blocks_a_turn(tmp_path):
    """It takes the connection and says nothing, as a hung machine would."""
    with socket.socket() as deaf:
        deaf.bind(("127.0.0.1", 0))
        deaf.listen(1)

        class Deaf:
            host, port = deaf.getsockname()

        chamber = Chamber(tmp_path, Deaf)
        started_s = time.monotonic()
        chamber.turn(50)
        assert time.monotonic() - started_s < 1.0
        assert "does not answer" in chamber.courier.trouble
        started_s = time.monotonic()
        chamber.close()
        assert time.monotonic() - started_s < 2 * courier_module.CLOSE_S + 0.5


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # paho leaves its socket.
def test_a_network_thread_that_died_is_started_again(chamber, mosquitto, monkeypatch):
    monkeypatch.setattr(courier_module, "RESTART_S", 0.1)
    chamber.connected()
    chamber.courier._client._thread_terminate = True
    wait_for(lambda: chamber.courier._client._thread is None)
    store = Store(mosquitto)
    chamber.mono_s += 1.0
    chamber.turn(3)
    chamber.until(all_stored(chamber, store))


def test_a_stumble_of_the_courier_never_reaches_the_loop(chamber, monkeypatch, caplog):
    chamber.connected()
    monkeypatch.setattr(chamber.courier._outbox, "take", lambda limit: 1 / 0)
    chamber.turn(1)
    assert "stumbled" in caplog.text


def test_a_full_queue_of_the_library_loses_nothing(chamber, mosquitto):
    store = Store(mosquitto)
    chamber.courier._client.max_queued_messages_set(5)
    chamber.connected()
    chamber.turn(100)
    chamber.until(all_stored(chamber, store))


def secured(tmp_path, more):
    tmp_path.chmod(0o755)
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", str(passwords), "left", "right password"], check=True)
    return Mosquitto(tmp_path, f"allow_anonymous false\npassword_file {passwords}\n{more}").start()


@pytest.fixture
def presence():
    return lambda state: wire.Presence(CHAMBER, "0001-aaaa", state.value, 1.8e9, "0.1.0", 10.0)


def pump_until(courier, condition, within_s=15):
    return wait_for(lambda: courier.pump(Moment(time.monotonic(), 1.8e9)) or condition(), within_s)


@pytest.mark.skipif(not shutil.which("mosquitto_passwd"), reason="needs mosquitto_passwd")
def test_user_and_password_are_used_and_a_wrong_one_is_told(tmp_path, presence):
    broker = secured(tmp_path, "")
    for secret, trouble in (("right password", None), ("wrong", "refused us")):
        (tmp_path / "secret").write_text(secret + "\n")
        journal = Journal.open(tmp_path / secret[:5], JournalSettings(), Moment(0.0, 1.8e9))
        settings = BrokerSettings(
            broker.host, broker.port, "left", password_file=str(tmp_path / "secret")
        )
        courier = Courier(settings, journal, presence)
        if trouble is None:
            pump_until(courier, lambda: courier.trouble is None)  # noqa: B023
        else:
            pump_until(courier, lambda: trouble in (courier.trouble or ""))  # noqa: B023
        courier.close(Moment(0.0, 1.8e9))
        journal.close(Moment(0.0, 1.8e9))
    broker.close()


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # paho leaves its socket.
@pytest.mark.skipif(not shutil.which("openssl"), reason="needs openssl to make a certificate")
def test_tls_is_used_and_a_broker_with_another_certificate_is_not_spoken_to(tmp_path, presence):
    tmp_path.chmod(0o755)
    for name in ("own", "other"):
        subprocess.run(
            f"openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost"
            f" -addext subjectAltName=DNS:localhost,IP:127.0.0.1"
            f" -keyout {tmp_path}/{name}.key -out {tmp_path}/{name}.pem".split(),
            check=True,
            capture_output=True,
        )
    more = f"allow_anonymous true\ncertfile {tmp_path}/own.pem\nkeyfile {tmp_path}/own.key"
    broker = Mosquitto(tmp_path, more).start()
    for name in ("own", "other"):
        journal = Journal.open(tmp_path / name, JournalSettings(), Moment(0.0, 1.8e9))
        settings = BrokerSettings("localhost", broker.port, tls_ca_file=f"{tmp_path}/{name}.pem")
        courier = Courier(settings, journal, presence)
        if name == "own":
            pump_until(courier, lambda: courier.trouble is None)  # noqa: B023
        else:
            courier.pump(Moment(0.0, 1.8e9))
            time.sleep(1.0)
            assert courier.trouble is not None
        courier.close(Moment(0.0, 1.8e9))
        journal.close(Moment(0.0, 1.8e9))
    assert "unknown ca" in broker.log.read_text()
    broker.close()
