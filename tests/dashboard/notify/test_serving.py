"""The whole dashboard with a real broker: a controller's alarm arrives at a sink by itself."""

from __future__ import annotations

import time

import pytest

from controller.errors import SettingsError
from controller.wire import Event, Presence, encode, topic
from dashboard.notify import heartbeat, teller
from dashboard.serving import opened
from dashboard.settings import settings_of
from tests.dashboard.notify.sinks import wait_for, web_sink


def toml(tmp_path, **notify: object) -> str:
    rows = "".join(f"{name} = {value!r}\n".replace("'", '"') for name, value in notify.items())
    return f'[store]\npath = "{tmp_path / "s.db"}"\n[notify]\n{rows}'


def test_an_alarm_goes_from_the_broker_to_the_phone(tmp_path, mosquitto, monkeypatch):
    monkeypatch.setattr(teller, "LOOK_S", 0.05)
    monkeypatch.setattr(heartbeat, "FIRST_S", 0.3)
    with web_sink() as sink:
        (tmp_path / "targets").write_text(f"phone {sink.address('json', 'told')}\n")
        (tmp_path / "life").write_text(sink.address("http", "life") + "\n")
        settings = settings_of(
            toml(
                tmp_path, targets_file=str(tmp_path / "targets"), quiet_to="22:00",
                heartbeat_file=str(tmp_path / "life"), degrees="fahrenheit",
            )
            + f'[broker]\nhost = "{mosquitto.host}"\nport = {mosquitto.port}\n'
        )  # fmt: skip
        ear = mosquitto.ear()
        now = time.time()
        raised = Event(
            "cellar", "b1", 1, now, 1.0, True, "beer-drifting", "raised",
            "The beer is at 33.8 °C.", "Look.", "medium",
        )  # fmt: skip
        with opened(settings, time.time) as parts:
            presence = Presence("cellar", "b1", "present", now, "x", 5.0)
            wait_for(lambda: parts.ingest.trouble is None)
            ear.say(topic("cellar", Presence), encode(presence), True)
            ear.say(topic("cellar", Event), encode(raised), False)
            wait_for(lambda: sink.posts)
            wait_for(lambda: "/life" in sink.paths)
    (post,) = sink.posts
    assert post["title"] == "cellar: soon" and post["message"].startswith("The beer is at 92.8 °F.")


def test_a_file_of_targets_that_is_wrong_is_said_at_the_start(tmp_path, mosquitto):
    (tmp_path / "targets").write_text("phone nowhere\n")
    (tmp_path / "life").write_text("ftp://x/\n")
    broker = f'[broker]\nhost = "{mosquitto.host}"\nport = {mosquitto.port}\n'
    for name, said in (("targets", "line 1"), ("life", "no address of the web")):
        key = {"targets": "targets_file", "life": "heartbeat_file"}[name]
        settings = settings_of(toml(tmp_path, **{key: str(tmp_path / name)}) + broker)
        with pytest.raises(SettingsError, match=said), opened(settings, time.time):
            pass
