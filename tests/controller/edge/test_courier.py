"""The courier with a real Mosquitto, and a reader that stores as the dashboard does."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time

import pytest

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge import courier as courier_module
from controller.edge.courier import BrokerSettings, Courier
from controller.edge.journal import Journal, JournalSettings
from tests.broker import Mosquitto, wait_for
from tests.controller.edge.lines import CHAMBER, event, tick

TICK, EVENT, PRESENCE, STORED = (
    f"barmkeep/{CHAMBER}/{name}" for name in ("tick", "event", "presence", "stored")
)


class Store:
    """A reader that keeps every line once and says how far each boot is without a gap."""

    def __init__(self, broker):
        self.lines, self.got, self._seen = {}, 0, 0
        self._ear = broker.ear(TICK, EVENT)

    def through(self, boot):
        seq = 0
        while (boot, seq + 1) in self.lines:
            seq += 1
        return seq

    def commit(self, say=True):
        """Take in what has come since; say `stored` for each boot it touched."""
        new, self._seen = self._ear.heard[self._seen :], len(self._ear.heard)
        boots = set()
        for _, payload, _ in new:
            line = wire.decode(payload)
            self.lines.setdefault((line.boot, line.seq), line)
            boots.add(line.boot)
            self.got += 1
        for boot in sorted(boots) if say else ():
            self.say(boot, self.through(boot))

    def say(self, boot, through):
        message = wire.encode(wire.Stored(CHAMBER, boot, through))
        self._ear.client.publish(STORED, message, qos=1)


class Chamber:
    """A journal and its courier, on a clock that the test moves."""

    def __init__(self, folder, broker):
        self.mono_s = 1000.0
        self.journal = Journal.open(folder, JournalSettings(), self.now())
        settings = BrokerSettings(host=broker.host, port=broker.port)
        self.courier = Courier(settings, self.journal, self.presence)

    def now(self):
        return Moment(self.mono_s, 1.8e9 + self.mono_s)

    def presence(self, state):
        return wire.Presence(
            CHAMBER, self.journal.boot, state.value, self.now().utc_s, "0.1.0", 10.0
        )

    def turn(self, count=1, line=tick):
        for _ in range(count):
            self.mono_s += 10.0
            lines = [line(self.journal.boot, self.journal.next_seq, self.now())]
            self.journal.append(lines, self.now(), urgent=line is event)
            self.pump()

    def pump(self):
        self.courier.pump(self.now())

    def until(self, condition, within_s=20):
        """Pump as the loop does while it rests."""

        def pumped():
            self.pump()
            return condition()

        return wait_for(pumped, within_s)

    def connected(self):
        self.until(lambda: self.courier.trouble is None)
        return self

    def close(self):
        self.courier.close(self.now())
        self.journal.close(self.now())


@pytest.fixture
def chamber(tmp_path, mosquitto):
    made = Chamber(tmp_path / "journal", mosquitto)
    yield made
    made.close()


def all_stored(chamber, store):
    def condition():
        store.commit()
        return store.through(chamber.journal.boot) == chamber.journal.next_seq - 1

    return condition


def test_it_says_present_when_it_comes_and_stopped_when_it_goes(tmp_path, mosquitto):
    ear = mosquitto.ear(PRESENCE)
    chamber = Chamber(tmp_path, mosquitto)
    chamber.until(lambda: ear.heard)
    chamber.close()
    wait_for(lambda: len(ear.heard) == 2)
    said = [wire.decode(payload) for _, payload, _ in ear.heard]
    assert [each.state for each in said] == ["present", "stopped"]
    assert said[0].boot == chamber.journal.boot
    time.sleep(0.3)
    assert len(ear.heard) == 2  # The last will is not sent after an orderly stop.


KILLED = """
import sys
from pathlib import Path
sys.path[:0] = [""]
from tests.controller.edge.test_courier import Chamber
class Broker: host, port = "127.0.0.1", int(sys.argv[2])
chamber = Chamber(Path(sys.argv[1]), Broker)
chamber.connected()
print("ready", flush=True)
while True: chamber.pump()
"""


def test_the_broker_says_lost_for_one_that_was_killed(tmp_path, mosquitto):
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(["", *sys.path])}
    command = [sys.executable, "-c", KILLED, str(tmp_path), str(mosquitto.port)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment) as process:
        assert process.stdout.readline() == b"ready\n"
        process.send_signal(signal.SIGKILL)
    ear = mosquitto.ear(PRESENCE)
    said = wait_for(lambda: [p for _, p, retained in ear.heard if b"lost" in p])
    assert wire.decode(said[0]).state == "lost"


def test_every_line_arrives_as_it_is_in_the_journal_in_order(chamber, mosquitto, tmp_path):
    store = Store(mosquitto)
    chamber.connected()
    chamber.turn(5)
    chamber.turn(1, event)
    chamber.turn(2)
    chamber.until(all_stored(chamber, store))
    (path,) = (tmp_path / "journal").glob("*.jsonl")
    written = path.read_bytes().splitlines()
    assert [payload for _, payload, _ in store._ear.heard] == written
    assert [topic for topic, _, _ in store._ear.heard][5] == EVENT


def test_who_comes_late_finds_the_newest_tick_and_no_event(chamber, mosquitto):
    chamber.connected()
    chamber.turn(3)
    chamber.turn(1, event)
    wait_for(lambda: chamber.courier._client.is_connected())
    time.sleep(0.3)
    late = mosquitto.ear("barmkeep/#")
    wait_for(lambda: len(late.heard) == 2)
    retained = {topic: wire.decode(payload) for topic, payload, _ in late.heard}
    assert retained[TICK].seq == 3 and set(retained) == {TICK, PRESENCE}


def test_what_is_stored_is_remembered_and_not_sent_after_a_restart(tmp_path, mosquitto):
    store = Store(mosquitto)
    first = Chamber(tmp_path, mosquitto)
    first.connected().turn(6)
    first.until(all_stored(first, store))
    first.until(lambda: first.courier._outbox.delivered(first.journal.boot) == 6)
    first.close()
    assert json.loads((tmp_path / "delivered.json").read_text()) == {first.journal.boot: 6}
    got = store.got
    second = Chamber(tmp_path, mosquitto)
    second.connected().turn(2)
    second.until(all_stored(second, store))
    assert store.got == got + 2
    second.close()


def test_a_broker_away_for_ten_seconds_loses_nothing_and_the_store_keeps_each_once(
    chamber, mosquitto
):
    store = Store(mosquitto)
    chamber.connected().turn(20)
    chamber.until(all_stored(chamber, store))
    mosquitto.stop()
    away_until_s = time.monotonic() + 10.5
    while time.monotonic() < away_until_s:
        chamber.turn(5)
        time.sleep(0.1)
    assert chamber.courier.trouble is not None and "does not answer" in chamber.courier.trouble
    written = chamber.journal.next_seq - 1
    assert written > 400
    mosquitto.start()
    chamber.until(all_stored(chamber, store), 40)
    assert sorted(store.lines) == [(chamber.journal.boot, seq) for seq in range(1, written + 1)]
    assert store.got < written + 2 * courier_module.WINDOW
    assert chamber.courier.trouble is None


def test_a_broker_killed_again_and_again_mid_stream_loses_nothing(chamber, mosquitto):
    """It keeps nothing on disk, so what it had confirmed but not passed on is gone each time."""
    store = Store(mosquitto)
    chamber.connected()
    for _ in range(4):
        for _ in range(60):
            chamber.turn(5)
            store.commit()
        mosquitto.stop(hard=True)
        chamber.turn(30)
        mosquitto.start()
        chamber.until(lambda: chamber.courier.trouble is None)
    chamber.until(all_stored(chamber, store), 40)
    assert len(store.lines) == chamber.journal.next_seq - 1 == 4 * 330


def test_lines_the_reader_never_got_are_sent_again_after_a_while(chamber, mosquitto):
    """Confirmed by the broker, never stored: the case in which a puback is worth nothing."""
    store = Store(mosquitto)
    chamber.connected().turn(3)
    chamber.until(lambda: len(store._ear.heard) == 3)
    store._seen = 3  # They were lost on the way.
    chamber.mono_s += courier_module.ACK_WAIT_S - 21.0
    chamber.pump()
    time.sleep(0.2)
    assert len(store._ear.heard) == 3
    chamber.mono_s += 1.0
    chamber.until(all_stored(chamber, store))
    assert store.got == 3


def test_with_no_dashboard_the_newest_tick_still_goes_out_and_the_rest_is_bounded(
    chamber, mosquitto, monkeypatch
):
    monkeypatch.setattr(courier_module, "WINDOW", 20)
    monkeypatch.setattr(courier_module, "ACK_WAIT_S", 1e9)
    ear = mosquitto.ear(TICK)
    chamber.connected()
    for _ in range(8):
        chamber.turn(1)
        for _ in range(3):
            chamber.pump()  # Several turns while it rests: still once a tick.
    chamber.turn(42)
    wait_for(lambda: len(ear.heard) >= 50)
    time.sleep(0.3)
    seqs = [wire.decode(payload).seq for _, payload, _ in ear.heard]
    assert seqs[:20] == list(range(1, 21)) and seqs[20:] == list(range(21, 51))
    late = mosquitto.ear(TICK)
    wait_for(lambda: late.heard)
    assert wire.decode(late.heard[0][1]).seq == 50


def test_without_answers_it_tries_less_and_less_often(chamber, mosquitto):
    ear = mosquitto.ear(TICK)
    chamber.connected().turn(1)
    for _ in range(3600):  # Ten hours without a dashboard.
        chamber.mono_s += 10.0
        chamber.pump()
    time.sleep(0.5)
    assert 30 < len(ear.heard) < 60
    sent = len(ear.heard)
    Store(mosquitto).say(chamber.journal.boot, 0)  # Somebody is there after all.
    chamber.until(lambda: len(ear.heard) == sent + 1)


def test_a_store_restored_from_an_old_backup_gets_what_it_lacks(chamber, mosquitto):
    store = Store(mosquitto)
    chamber.connected().turn(30)
    chamber.until(all_stored(chamber, store))
    chamber.until(lambda: chamber.courier._outbox.delivered(chamber.journal.boot) == 30)
    for seq in range(11, 31):
        del store.lines[chamber.journal.boot, seq]
    store.say(chamber.journal.boot, 10)
    chamber.until(all_stored(chamber, store))
    assert len(store.lines) == 30


def test_a_backlog_of_several_boots_is_caught_up_while_the_newest_is_seen(
    tmp_path, mosquitto, monkeypatch
):
    monkeypatch.setattr(courier_module, "WINDOW", 50)
    boots = []
    for _ in range(3):
        journal = Journal.open(tmp_path, JournalSettings(), Moment(0.0, 1.8e9))
        for seq in range(1, 201):
            journal.append([tick(journal.boot, seq)], Moment(seq, 1.8e9 + seq), urgent=False)
        journal.close(Moment(300.0, 1.8e9))
        boots.append(journal.boot)
    store = Store(mosquitto)
    chamber = Chamber(tmp_path, mosquitto)
    chamber.connected().turn(1)
    wait_for(lambda: any(chamber.journal.boot.encode() in p for _, p, _ in store._ear.heard))
    chamber.until(all_stored(chamber, store), 30)
    chamber.until(lambda: store.commit() or len(store.lines) == 601, 30)
    assert all(store.through(boot) == 200 for boot in boots)
    chamber.close()


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
