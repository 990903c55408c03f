"""The device at a real broker: found by a hub, told anew, lost with its process, and asked."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge.broker import BrokerSettings
from controller.edge.homie.device import Fitted
from controller.edge.homie.publisher import HomieSettings, Publisher
from controller.edge.orders import Inbox
from controller.edge.standing import Standing
from controller.errors import SettingsError
from controller.settings import parse
from tests.broker import wait_for
from tests.controller.edge.lines import CHAMBER, event, tick
from tests.controller.test_settings import GOOD

ROOT = f"homie/5/{CHAMBER}"
NOW = Moment(1000.0, 1.8e9, True)
FITTED = Fitted(CHAMBER, ("beer", "garage"), True, 41.0, True)


class Still:
    """A clock that stands."""

    def now(self) -> Moment:
        return NOW


@pytest.fixture
def start(mosquitto):
    made = []

    def started(fitted: Fitted = FITTED, asked: list[bytes] | None = None) -> Publisher:
        settings = HomieSettings(settable=fitted.is_settable)
        broker = BrokerSettings(host=mosquitto.host, port=mosquitto.port)

        def ask(payload: bytes, retained: bool) -> None:
            assert asked is not None and not retained
            asked.append(payload)

        made.append(Publisher(settings, broker, fitted, Still(), ask))
        return made[-1]

    yield started
    for each in made:
        each.close()


def newest(ear) -> dict[str, str]:
    return {topic.removeprefix(f"{ROOT}/"): payload.decode() for topic, payload, _ in ear.heard}


def line(**more):
    return replace(tick("b1", 1, NOW), **more)


def test_a_hub_that_comes_later_finds_the_whole_device_ready(start, mosquitto):
    device = start()
    device.show((line(beer_c=34.9, target_c=35.0),))
    first = mosquitto.ear(f"{ROOT}/#")
    wait_for(lambda: newest(first).get("$state") == "ready")
    # Source: Homie convention 5.0: hubs find devices by +/5/+/$state, all of it retained.
    hub = mosquitto.ear("+/5/+/$state", f"{ROOT}/#")
    found = wait_for(lambda: newest(hub) if "beer/temperature" in newest(hub) else None)
    assert (found["$state"], found["beer/temperature"]) == ("ready", "34.90")
    assert json.loads(found["$description"])["nodes"]["beer"]["properties"]["target"]["settable"]
    assert all(retained for _, _, retained in hub.heard)


def test_states_come_in_the_conventions_order(start, mosquitto):
    ear = mosquitto.ear(f"{ROOT}/#")
    device = start()
    wait_for(lambda: newest(ear).get("$state") == "ready")
    told = [topic.removeprefix(f"{ROOT}/") for topic, _, _ in ear.heard]
    # Source: Homie convention 5.0: `$description` changes only while the state is init.
    assert told.index("$state") < told.index("$description") < len(told) - 1
    assert [p.decode() for t, p, _ in ear.heard if t.endswith("$state")] == ["init", "ready"]
    device.close()
    wait_for(lambda: newest(ear)["$state"] == "disconnected")


def test_only_what_changed_is_told_and_alerts_come_and_go(start, mosquitto):
    ear = mosquitto.ear(f"{ROOT}/#")
    device = start()
    device.show((line(beer_c=34.9),))
    wait_for(lambda: newest(ear).get("beer/temperature") == "34.90")
    count = len(ear.heard)
    device.show((line(beer_c=34.901),))  # everything once more: see `_tell`
    wait_for(lambda: len(ear.heard) > count + 5)
    wait_for(lambda: newest(ear)["$state"] == "ready")
    count = len(ear.heard)
    raised = replace(event("b1", 2, NOW), code="beer-probe-lost", state="raised", text="No beer.",
                     remedy="Plug it in.")  # fmt: skip
    device.show((raised, line(beer_c=34.8, alarms=("beer-probe-lost",))))
    wait_for(lambda: newest(ear).get("beer/temperature") == "34.80")
    assert newest(ear)["$alert/beer-probe-lost"] == "No beer. Plug it in."
    assert [p for t, p, _ in ear.heard[count:] if t.endswith("temperature")] == [b"34.80"]
    device.show((line(beer_c=34.7),))
    wait_for(lambda: newest(ear)["$alert/beer-probe-lost"] == "")


def test_after_a_broker_that_forgot_everything_it_is_told_anew(start, mosquitto):
    device = start()
    device.show((line(beer_c=34.9),))
    ear = mosquitto.ear(f"{ROOT}/#")
    wait_for(lambda: newest(ear).get("beer/temperature") == "34.90")
    mosquitto.stop(hard=True)
    device.show((line(beer_c=33.3),))
    mosquitto.start()
    late = mosquitto.ear(f"{ROOT}/#")
    wait_for(lambda: newest(late).get("beer/temperature") == "33.30")
    assert newest(late)["$state"] in ("init", "ready")


SCRIPT = """
import sys, time
from controller.edge.broker import BrokerSettings
from controller.edge.homie.device import Fitted
from controller.edge.homie.publisher import HomieSettings, Publisher
from tests.controller.edge.homie.test_publisher import FITTED, Still
Publisher(HomieSettings(), BrokerSettings(port=int(sys.argv[1])), FITTED, Still(), print)
time.sleep(60)
"""


def test_a_process_that_dies_is_lost(mosquitto):
    ear = mosquitto.ear(f"{ROOT}/$state")
    root = Path(__file__).parents[4]
    dying = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(mosquitto.port)],
        cwd=root, env={**os.environ, "PYTHONPATH": str(root)},
    )  # fmt: skip
    try:
        wait_for(lambda: newest(ear).get("$state") == "ready")
    finally:
        dying.send_signal(signal.SIGKILL)
        dying.wait()
    wait_for(lambda: newest(ear)["$state"] == "lost")


def test_a_hubs_target_becomes_an_order_that_ends_by_itself(start, mosquitto):
    asked: list[bytes] = []
    start(asked=asked)
    hub = mosquitto.ear(f"{ROOT}/$state")
    wait_for(lambda: newest(hub).get("$state") == "ready")
    hub.say(f"{ROOT}/beer/target/set", "80")
    hub.say(f"{ROOT}/beer/target/set", "hot")
    hub.say(f"{ROOT}/beer/target/set", "33.5")
    wait_for(lambda: asked)
    (order,) = [wire.decode(each) for each in asked]
    assert (order.kind, order.target_c, order.for_s) == ("hold", 33.5, 7200.0)
    assert (order.chamber, order.issuer, order.utc_s) == (CHAMBER, "homie", NOW.utc_s)


def test_that_order_passes_the_same_door_as_any_other(start, mosquitto, tmp_path):
    inbox = Inbox(CHAMBER, Still(), Standing(tmp_path, None))
    settings, broker = HomieSettings(settable=True), BrokerSettings(port=mosquitto.port)
    device = Publisher(settings, broker, FITTED, Still(), inbox.hear)
    hub = mosquitto.ear(f"{ROOT}/$state")
    wait_for(lambda: newest(hub).get("$state") == "ready")
    hub.say(f"{ROOT}/beer/target/set", "33.5")
    wait_for(lambda: inbox.is_waiting)
    device.close()
    (received,) = inbox.take(5)
    assert received.asked is not None and received.refusal is None
    assert (received.asked.kind, received.asked.numbers["target_c"]) == ("hold", 33.5)


def test_a_retained_target_and_one_for_a_device_that_is_only_shown_do_nothing(start, mosquitto):
    asked: list[bytes] = []
    hub = mosquitto.ear(f"{ROOT}/#")
    hub.say(f"{ROOT}/beer/target/set", "33.5", retain=True)
    device = start(asked=asked)
    wait_for(lambda: device.refused == 1)
    device.close()
    shown = start(replace(FITTED, is_settable=False), asked)
    wait_for(lambda: newest(hub).get("$state") == "ready")
    hub.say(f"{ROOT}/beer/target/set", "33.5")
    time.sleep(0.3)
    assert asked == [] and shown.refused == 0


def test_the_settings_name_it_and_need_a_broker():
    with pytest.raises(SettingsError, match=r"homie: there is no \[broker\] to tell"):
        parse(GOOD + "[homie]\n", Path())
    with pytest.raises(SettingsError, match="cannot be part of a topic"):
        parse(GOOD + '[broker]\n[homie]\ndomain = "a/b"\n', Path())
    found = parse(GOOD + "[broker]\n[homie]\nsettable = true\n", Path())
    assert found.homie == HomieSettings("homie", True)
    assert parse(GOOD, Path()).homie is None
