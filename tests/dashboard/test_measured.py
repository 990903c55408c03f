"""Gravities from devices, over a real broker and as objects: near ones thinned, odd ones told."""

from __future__ import annotations

import json
import logging
import time

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import measured
from dashboard.checked import problems
from dashboard.errors import EntryError
from dashboard.facts import Batch
from dashboard.ingest import Ingest
from dashboard.live import LiveHub
from dashboard.measured import MEASURED, take, take_message
from dashboard.settings import BrokerSettings
from dashboard.store import Store
from tests.broker import wait_for

NOW = 1_768_431_600.0
TOPIC = "barmkeep/cellar/gravity"
BATCH = Batch(0, "cellar", "Winter one", NOW - 86_400, 1.050, 1.010, 20.0, "kveik")


@pytest.fixture
def store(tmp_path):
    made = Store.open(tmp_path / "store.db")
    made.add_batch(BATCH)
    yield made
    made.close()


def test_the_least_a_device_may_say_is_a_gravity(store):
    kept = take(store, "cellar", {"gravity": 1.031}, "hydrometer-1", NOW)
    assert kept.is_new and store.gravities(1) == (kept.reading,)
    found = kept.reading
    assert (found.entered, found.sample_c, found.calibrated_c) == (1.031, 20.0, 20.0)
    assert (found.taken_utc_s, found.note) == (NOW, "measured by hydrometer-1")
    assert store.changes(1)[0].by.who == "hydrometer-1"


def test_one_in_ten_minutes_is_kept_of_each_device(store):
    for minute in range(60):
        take(store, "cellar", {"gravity": 1.031, "taken_utc_s": NOW + 60 * minute}, "a", NOW + 3600)
    take(store, "cellar", {"gravity": 1.030, "taken_utc_s": NOW}, "b", NOW + 3600)
    notes = [each.note for each in store.gravities(1)]
    assert notes.count("measured by a") == 6 and notes.count("measured by b") == 1


def test_the_same_message_twice_is_one_reading(store):
    message = json.dumps({"gravity": 7.8, "unit": "plato", "taken_utc_s": NOW}).encode()
    assert take_message(store, TOPIC, message, NOW).is_new
    again = take_message(store, TOPIC, message, NOW)
    assert not again.is_new and len(store.gravities(1)) == 1


def test_without_a_batch_there_is_nothing_it_could_belong_to(store):
    with pytest.raises(EntryError, match="Enter the batch"):
        take(store, "elsewhere", {"gravity": 1.031}, "a", NOW)
    assert [each.name for each in store.chambers()] == ["cellar"]


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (b"1.031", "it is not an object"),
        (b'{"gravity": "1.031"}', "gravity is not a number"),
        (b'{"gravity": 1.031, "temp": 20}', "'temp' is not known"),
        (b'{"sg": 1.031}', "gravity is missing"),
        (b'{"gravity": 10.31}', "Probably SG 1.031"),
        (b'{"gravity": 1.031, "taken_utc_s": 1768431600000}', "taken_utc_s is"),
        (b'{"gravity": 1.031, "taken_utc_s": 1768440000}', "in the future"),
        (b'{"gravity": 1.031, "sample_c": 95}', "sample_c is 95"),
        (b'{"gravity": 1.031, "device": "<b>"}', "not allowed"),
        (b'{"gravity": NaN}', "gravity is nan"),
        (b'{"gravity": 1.031', "not JSON"),
        (b"\xff", "not JSON"),
        (b" " * 3000, "no measurement"),
        (b"[" * 2000, "not JSON"),
    ],
)
def test_what_is_no_measurement_is_refused_in_words(store, payload, expected):
    with pytest.raises(EntryError) as caught:
        take_message(store, TOPIC, payload, NOW)
    assert expected in str(caught.value) and store.gravities(1) == ()


@pytest.mark.parametrize("topic", ["barmkeep/UP/gravity", "barmkeep//gravity", "x/a b/gravity"])
def test_a_topic_names_a_chamber(store, topic):
    with pytest.raises(EntryError, match="no measurement"):
        take_message(store, topic, b'{"gravity": 1.031}', NOW)


def test_too_many_are_refused(store, monkeypatch):
    monkeypatch.setattr(measured, "READINGS_MAX", 3)
    for hour in range(3):
        take(store, "cellar", {"gravity": 1.03, "taken_utc_s": NOW - 3600 * hour}, "a", NOW)
    with pytest.raises(EntryError, match="3 readings already"):
        take(store, "cellar", {"gravity": 1.03, "taken_utc_s": NOW + 600}, "a", NOW)


def test_over_a_real_broker_it_is_kept_and_a_retained_or_wrong_one_is_not(
    mosquitto, tmp_path, caplog
):
    caplog.set_level(logging.WARNING)
    store = Store.open(tmp_path / "store.db")
    store.add_batch(Batch(0, "cellar", "b", time.time() - 3600, 1.050, 1.010, 20.0, "kveik"))
    device = mosquitto.ear()
    device.say(TOPIC, json.dumps({"gravity": 1.049}), retain=True)
    ingest = Ingest(BrokerSettings(port=mosquitto.port), store, LiveHub(), time.time, 60.0)
    ingest.start()
    try:
        wait_for(lambda: ingest.trouble is None)
        device.say(TOPIC, "1.031")
        device.say(TOPIC, json.dumps({"gravity": 1.041, "sample_c": 35.0, "device": "float-1"}))
        (found,) = wait_for(lambda: store.gravities(1))
        assert (found.entered, found.note) == (1.041, "measured by float-1")
        assert ingest.trouble is None and ingest.junk == 1
        assert "it is not an object" in caplog.text
    finally:
        ingest.stop()
        store.close()


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=40) | st.sampled_from(["sg", "plato", "float-1"]),
    lambda inner: st.lists(inner, max_size=2)
    | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=4,
)  # fmt: skip
OBJECTS = st.dictionaries(
    st.sampled_from([*MEASURED["properties"], "other"]), VALUES | st.floats(0, 40), max_size=5
)


@given(VALUES | OBJECTS)
def test_our_checker_and_the_outside_one_agree(value):
    judge = jsonschema.Draft202012Validator(dict(MEASURED))
    assert (not problems(MEASURED, value)) == judge.is_valid(value)
