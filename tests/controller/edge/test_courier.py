"""The courier with a real Mosquitto, and a reader that stores as the dashboard does."""

import json
import os
import signal
import subprocess
import sys
import time

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge import courier as courier_module
from controller.edge.journal import Journal, JournalSettings
from tests.broker import wait_for
from tests.controller.edge.chamber import EVENT, PRESENCE, TICK, Chamber, Store, all_stored
from tests.controller.edge.lines import event, tick


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
from tests.controller.edge.chamber import Chamber
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
