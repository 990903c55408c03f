"""Orders and answers between the dashboard and a chamber, through a real broker."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

from controller.wire import Order, Reply, decode, encode, topic
from dashboard.ingest import Ingest
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings
from dashboard.store import Store
from tests.broker import Mosquitto, wait_for
from tests.dashboard.lines import tick

ORDER = Order("cellar", "id-1", "phone", 1000.0, 60.0, "hold", target_c=22.0)
REPLY = Reply("cellar", "id-1", False, "Too hot.", 1001.0)


class Listening:
    """The ingest of a dashboard, and someone at the chamber's end."""

    def __init__(self, folder: Path, broker: Mosquitto) -> None:
        self.store, self.hub = Store.open(folder / "store.sqlite"), LiveHub()
        settings = BrokerSettings(host=broker.host, port=broker.port)
        self.ingest = Ingest(settings, self.store, self.hub, time.time, 1.0)
        self.ear = broker.ear(topic("cellar", Order))
        self.ingest.start()
        wait_for(lambda: self.ingest.trouble is None)

    def close(self) -> None:
        self.ingest.stop()
        self.store.close()


@pytest.fixture
def listening(tmp_path: Path, mosquitto: Mosquitto):
    made = Listening(tmp_path, mosquitto)
    yield made
    made.close()


def test_an_order_goes_out_unretained_and_its_answer_is_kept_and_stirs_the_page(
    listening: Listening,
) -> None:
    listening.hub.heard(tick(1), time.time(), False)
    before = listening.hub.newest("cellar").number
    listening.store.add_order(ORDER)
    assert listening.ingest.say(ORDER)
    wait_for(lambda: listening.ear.heard)
    ((heard_on, payload, retained),) = listening.ear.heard
    assert (heard_on, decode(payload), retained) == (topic("cellar", Order), ORDER, False)
    listening.ear.say(topic("cellar", Reply), encode(REPLY))
    assert listening.store.answer_to("id-1", 10.0) == REPLY
    wait_for(lambda: listening.hub.newest("cellar").number > before)


def test_an_answer_on_a_foreign_topic_is_not_kept(listening: Listening) -> None:
    listening.store.add_order(ORDER)
    listening.ear.say(topic("attic", Reply), encode(REPLY))
    wait_for(lambda: listening.ingest.junk == 1)
    assert listening.store.answer_to("id-1", 0.0) is None


def test_a_retained_answer_is_not_kept(tmp_path: Path, mosquitto: Mosquitto) -> None:
    mosquitto.ear().say(topic("cellar", Reply), encode(REPLY), retain=True)
    store = Store.open(tmp_path / "store.sqlite")
    store.add_order(ORDER)
    store.add_order(replace(ORDER, id="id-2"))
    store.close()
    made = Listening(tmp_path, mosquitto)
    try:
        made.ear.say(topic("cellar", Reply), encode(replace(REPLY, id="id-2")))
        assert made.store.answer_to("id-2", 10.0) is not None
        assert made.store.answer_to("id-1", 0.0) is None
    finally:
        made.close()


def test_without_a_broker_nothing_is_sent_now_or_later(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    made = Listening(tmp_path, mosquitto)
    try:
        mosquitto.stop()
        wait_for(lambda: not made.ingest.say(ORDER))
        made.ear.heard.clear()
        mosquitto.start()
        wait_for(lambda: made.ingest.say(replace(ORDER, id="id-2")))
        wait_for(lambda: made.ear.heard)
        assert [decode(payload).id for _, payload, _ in made.ear.heard] == ["id-2"]
    finally:
        made.close()


def test_an_answer_about_a_chamber_nobody_heard_stirs_nothing() -> None:
    hub = LiveHub()
    hub.stir("cellar")
    assert hub.newest("cellar") is None
