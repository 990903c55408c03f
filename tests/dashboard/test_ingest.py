"""Through a real broker: nothing is lost, nothing is doubled, and nobody is told too early."""

from __future__ import annotations

import logging
import random
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from controller.errors import DiskError
from controller.wire import Stored, Tick, decode, encode, topic
from dashboard.demo import broker as demo_broker
from dashboard.ingest import LOAD_LINES, Ingest
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings
from dashboard.store import Store
from tests.broker import Ear, Mosquitto, wait_for
from tests.dashboard.lines import event, presence, tick

ROOT = Path(__file__).parents[2]
STORED = topic("+", Stored)
RNG = random.Random(7)


def say(ear: Ear, *messages, retain: bool = False) -> None:
    for message in messages:
        name = topic(message.chamber, type(message))
        ear.client.publish(name, encode(message), qos=1, retain=retain)


def stored_by(ear: Ear) -> dict[tuple[str, str], int]:
    """The newest word on every boot."""
    said = [decode(payload) for name, payload, _ in ear.heard if name.endswith("/stored")]
    return {(each.chamber, each.boot): each.through for each in said}


@contextmanager
def ingest(port: int, path: Path, commit_s: float = 60.0):
    store, hub = Store.open(path), LiveHub()
    running = Ingest(BrokerSettings(port=port), store, hub, time.time, commit_s)
    running.start()
    try:
        wait_for(lambda: running.trouble is None, 40)
        yield running, store, hub
    finally:
        running.stop()
        store.close()


def ticks_in(store: Store, chamber: str = "cellar") -> list[int]:
    return [each.seq for each in store.ticks(chamber, 0, 9e9)]


def test_an_event_is_committed_and_told_at_once_with_all_that_came_before(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, store, hub):
        say(ear, tick(1), tick(2))
        wait_for(lambda: store.pending() == 2)
        assert stored_by(ear) == {} and store.through("cellar", "b1") == 0
        say(ear, event(3))
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 3})
        assert ticks_in(store) == [1, 2]
        live = hub.newest("cellar")
        assert (live.tick, live.event) == (tick(2), event(3))


def test_ticks_are_committed_when_their_time_has_come_and_on_the_way_out(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db", commit_s=1.0):
        say(ear, tick(1))
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 1}, 5)
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, store, _hub):
        say(ear, tick(2))
        wait_for(lambda: store.pending() == 1)
    wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 2}, 5)


def test_a_full_load_is_committed_without_waiting(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db"):
        say(ear, *(tick(seq) for seq in range(1, LOAD_LINES + 1)))
        wait_for(lambda: stored_by(ear).get(("cellar", "b1"), 0) >= LOAD_LINES)


def test_a_controller_that_says_it_is_present_hears_how_far_its_boots_are_stored(
    mosquitto, tmp_path
):
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, store, _hub):
        store.add([tick(1), tick(2), tick(1, boot="b0")], 1.0)
        store.commit()
    ear = mosquitto.ear(STORED)
    say(ear, presence(boot="b2"), retain=True)
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, store, hub):
        expected = {("cellar", "b0"): 1, ("cellar", "b1"): 2, ("cellar", "b2"): 0}
        wait_for(lambda: stored_by(ear) == expected)
        assert store.chambers()[0].presence == presence(boot="b2")
        assert hub.newest("cellar").presence == presence(boot="b2")


def test_duplicates_and_any_order_from_two_chambers_are_each_kept_once(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    lines = [tick(seq, chamber) for seq in range(1, 401) for chamber in ("cellar", "shed")]
    said = [*lines, *RNG.sample(lines, 300)]
    RNG.shuffle(said)
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, store, _hub):
        say(ear, *said, event(401), event(401, "shed"))
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 401, ("shed", "b1"): 401})
        assert ticks_in(store) == ticks_in(store, "shed") == list(range(1, 401))


def test_a_line_lost_on_the_way_holds_back_what_is_told(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, store, _hub):
        say(ear, tick(1), tick(2), tick(4), event(5))
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 2})
        assert store.missing("cellar", "b1") == ((3, 3),)
        say(ear, tick(3), event(6))
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 6})


def test_junk_ends_nothing_and_is_counted_and_logged_ever_more_rarely(mosquitto, tmp_path, caplog):
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db") as (running, store, _hub):
        with caplog.at_level(logging.WARNING, "dashboard.ingest"):
            for number in range(20):
                ear.say("barmkeep/cellar/tick", b"\xff{" * number)
            ear.say("barmkeep/shed/tick", encode(tick(1)))  # one chamber speaking for another
            ear.say("barmkeep/cellar/event", encode(tick(1)))
            say(ear, event(1))
            wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 1})
        assert running.junk == 22
        assert sum("Refused" in each.message for each in caplog.records) == 5
        assert ticks_in(store) == []


def test_a_retained_tick_says_nothing_of_when_its_chamber_was_heard(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    say(ear, replace(tick(9), beer_c=30.0), retain=True)
    say(ear, presence("lost"), retain=True)
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, _store, hub):
        wait_for(lambda: (live := hub.newest("cellar")) and live.tick and live.presence)
        live = hub.newest("cellar")
        assert (live.tick.seq, live.presence.state, live.heard_utc_s) == (9, "lost", None)
        say(ear, tick(10))
        wait_for(lambda: hub.newest("cellar").tick.seq == 10)
        assert time.time() - hub.newest("cellar").heard_utc_s < 5


def test_a_full_disk_is_said_and_nothing_is_told_as_stored_until_it_is(
    mosquitto, tmp_path, monkeypatch
):
    monkeypatch.setattr("dashboard.ingest.RESTART_S", 0.1)
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db", commit_s=1.0) as (running, store, hub):
        say(ear, event(1))
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 1})
        database = store._database
        (pages,) = database._writer.execute("PRAGMA page_count").fetchone()
        database._writer.execute(f"PRAGMA max_page_count = {pages}")
        say(ear, *(tick(seq) for seq in range(2, 1500)))
        wait_for(lambda: running.trouble and "disk is full" in running.trouble)
        wait_for(lambda: hub.newest("cellar").tick.seq == 1499)
        assert stored_by(ear) == {("cellar", "b1"): 1}
        database._writer.execute("PRAGMA max_page_count = 1000000")
        wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 1499})
        assert running.trouble is None


def test_the_broker_may_go_and_come_back_and_no_tick_is_missing_or_doubled(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    with ingest(mosquitto.port, tmp_path / "s.db", commit_s=1.0) as (running, store, _hub):
        resend_until_stored(ear, 300, disturb=lambda: pause(mosquitto), wait_s=60)
        assert ticks_in(store) == list(range(1, 301))
        wait_for(lambda: running.trouble is None, 40)


def pause(broker: Mosquitto) -> None:
    broker.stop(hard=True)
    time.sleep(1.5)
    broker.start()


def resend_until_stored(ear: Ear, last: int, disturb, wait_s: float) -> None:
    """A sender that goes on from what is stored, as the courier does; disturbed half way."""
    sent, until_s, disturbed = 0, time.monotonic() + wait_s, False
    progress_s, through = time.monotonic(), 0
    while through < last:
        assert time.monotonic() < until_s, f"only {through} of {last} stored"
        if ear.client.is_connected() and sent < last:
            sent += 1
            say(ear, tick(sent))
        if sent >= last // 2 and not disturbed:
            disturbed = True
            disturb()
        newest = stored_by(ear).get(("cellar", "b1"), 0)
        if newest > through:
            through, progress_s = newest, time.monotonic()
        elif time.monotonic() - progress_s > 3:
            sent, progress_s = through, time.monotonic()
        time.sleep(0.005)


CHILD = """
import sys, time
from pathlib import Path
from dashboard.ingest import Ingest
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings
from dashboard.store import Store
store = Store.open(Path(sys.argv[2]))
Ingest(BrokerSettings(port=int(sys.argv[1])), store, LiveHub(), time.time, 1.0).start()
while True:
    time.sleep(1)
"""


def test_a_dashboard_killed_again_and_again_loses_nothing_and_doubles_nothing(mosquitto, tmp_path):
    ear = mosquitto.ear(STORED)
    path = tmp_path / "s.db"
    command = [sys.executable, "-c", CHILD, str(mosquitto.port), str(path)]
    children = [subprocess.Popen(command, cwd=ROOT)]

    def kill_and_start() -> None:
        children[-1].send_signal(signal.SIGKILL)
        children[-1].wait()
        children.append(subprocess.Popen(command, cwd=ROOT))

    try:
        for last in (150, 320, 480):
            resend_until_stored(ear, last, disturb=kill_and_start, wait_s=60)
    finally:
        children[-1].kill()
        children[-1].wait()
    store = Store.open(path)
    assert len(children) == 4
    assert ticks_in(store) == list(range(1, 481))
    with store._database.reading() as connection:
        assert connection.execute("SELECT sum(ticks) FROM minutes").fetchone() == (480,)
    store.close()


def test_with_the_embedded_broker_it_is_just_the_same(tmp_path, monkeypatch):
    pytest.importorskip("iotcore")
    monkeypatch.setattr(demo_broker.shutil, "which", lambda *_, **__: None)
    private = demo_broker.PrivateBroker(tmp_path)
    assert private.name == "iotcore"
    ear = Ear(private.port, (STORED,))
    try:
        with ingest(private.port, tmp_path / "s.db", commit_s=1.0) as (_, store, _hub):
            say(ear, *(tick(seq) for seq in range(1, 301)), presence())
            wait_for(lambda: stored_by(ear) == {("cellar", "b1"): 300})
            assert ticks_in(store) == list(range(1, 301))
    finally:
        ear.close()
        private.end()
    assert not demo_broker.answers("127.0.0.1", private.port)


def test_a_missing_password_file_is_told_before_anything_starts(tmp_path):
    store = Store.open(tmp_path / "s.db")
    broker = BrokerSettings(host="far.example", user="ui", password_file=str(tmp_path / "none"))
    with pytest.raises(DiskError, match="password file"):
        Ingest(broker, store, LiveHub(), time.time, 60.0)
    store.close()


def test_a_refused_login_and_an_absent_broker_are_told_apart(tmp_path, mosquitto):
    mosquitto.stop()
    store = Store.open(tmp_path / "s.db")
    absent = Ingest(BrokerSettings(port=mosquitto.port), store, LiveHub(), time.time, 60.0)
    absent.start()
    wait_for(lambda: "does not answer" in (absent.trouble or ""))
    absent.stop()
    refusing = Mosquitto(tmp_path, "allow_anonymous false").start()
    refused = Ingest(BrokerSettings(port=refusing.port), store, LiveHub(), time.time, 60.0)
    refused.start()
    wait_for(lambda: "refused us" in (refused.trouble or ""))
    refused.stop()
    refusing.close()
    store.close()


def test_the_live_view_begins_with_what_the_store_knows(mosquitto, tmp_path):
    store = Store.open(tmp_path / "s.db")
    store.add([tick(1)], 55.0)
    store.commit()
    store.close()
    with ingest(mosquitto.port, tmp_path / "s.db") as (_, _store, hub):
        live = hub.newest("cellar")
        assert isinstance(live.tick, Tick) and live.heard_utc_s == 55.0


def test_it_ends_even_when_told_to_while_it_is_still_connecting(mosquitto, tmp_path, monkeypatch):
    connected = mqtt.Client._create_socket_connection
    begun = threading.Event()

    def slowly(client):
        begun.set()
        time.sleep(0.5)
        return connected(client)

    monkeypatch.setattr(mqtt.Client, "_create_socket_connection", slowly)
    store = Store.open(tmp_path / "s.db")
    hasty = Ingest(BrokerSettings(port=mosquitto.port), store, LiveHub(), time.time, 60.0)
    hasty.start()
    assert begun.wait(10)
    ending = threading.Thread(target=hasty.stop, daemon=True)
    ending.start()
    wait_for(lambda: not ending.is_alive())
    store.close()
