"""The page of being told: nothing secret on it, a trial at a press, and how each target stands."""

from __future__ import annotations

import pytest

from dashboard.live import LiveHub
from dashboard.notify.choices import NotifySettings, Target
from dashboard.notify.heartbeat import Heartbeat
from dashboard.notify.teller import Surroundings, Teller
from dashboard.store import Store
from dashboard.web.app import Beside
from dashboard.web.leaves.told import Told
from tests.broker import free_port
from tests.browser.states import Scene, event, tell, warming
from tests.dashboard.notify.sinks import web_sink
from tests.dashboard.web.test_app import OWN, client_of


@pytest.fixture
def scene(tmp_path):
    made = Scene(Store.open(tmp_path / "store.sqlite"), LiveHub())
    warming(made)
    yield made
    made.store.close()


def told_by(scene: Scene, *targets: Target, heart: Heartbeat | None = None, **more) -> Told:
    around = Surroundings(scene.store, scene.hub, lambda: scene.now_utc_s)
    return Told(Teller(NotifySettings(**more), targets, around), heart)


def page(scene: Scene, told: Told, **more) -> str:
    return client_of(scene, beside=Beside(told=told)).get("/told", **more).text


def test_without_targets_it_says_how_to_get_one(scene):
    text = page(scene, told_by(scene))
    assert "Nobody is told of anything yet." in text and "targets_file" in text
    assert "None is sent. If this machine dies, nobody is told" in text


def test_every_page_leads_there_only_where_there_is_one(scene):
    with_one = client_of(scene, beside=Beside(told=told_by(scene))).get("/").text
    assert 'href="/told"' in with_one and 'href="/told"' not in client_of(scene).get("/").text


def test_what_was_sent_what_waits_and_why(scene):
    with web_sink() as sink:
        phone = Target("phone", sink.address("http", "s3cret"))
        dead = Target("mail", f"http://127.0.0.1:{free_port()}/p4ss")
        told = told_by(scene, phone, dead, quiet_from="23:00", quiet_to="06:30", least="high")
        tell(scene, "garage-left", [], event(
            "garage-left", "pad-too-hot", "raised", "The pad is at 61.0 °C <hot>.", 60,
            priority="high",
        ))  # fmt: skip
        told.teller.look()
        for target in (phone, dead):
            told.teller.send(target)
        text = page(scene, told)
    assert "s3cret" not in text and "p4ss" not in text and "http://127.0.0.1/…" in text
    assert "Told is only what is dangerous; from 23:00 to 06:30 only" in text
    assert "garage-left: now" in text and "&lt;hot&gt;" in text and "1 waits." in text
    assert "phone: delivered" in text and "mail: waiting after 1 try, again" in text
    assert "It cannot be reached" in text


def test_a_trial_is_one_press_and_its_result_stands_on_the_page(scene):
    with web_sink() as sink:
        told = told_by(
            scene, Target("phone", sink.address("http")), Target("dead", "http://127.0.0.1:9/x")
        )
        client = client_of(scene, beside=Beside(told=told))
        for name in ("phone", "dead"):
            answer = client.post("/told", data={"target": name}, headers=OWN)
            assert (answer.status_code, answer.headers["location"]) == (303, "/told#targets")
        assert [post["subject"] for post in sink.posts] == ["A trial for phone"]
        text = client.get("/told").text
        assert "it was taken. Look whether it is there." in text and "cannot be reached" in text
        assert client.post("/told", data={"target": "nobody"}, headers=OWN).status_code == 409
        assert client.post("/told", data={"target": "phone"}).status_code == 403


def test_the_sign_of_life_is_told_of(scene):
    with web_sink() as sink:
        heart = Heartbeat(sink.address("http", "l1fe"), 300, lambda: True, lambda: scene.now_utc_s)
        heart.call()
        text = page(scene, told_by(scene, heart=heart))
    assert "every 5 minutes while all is well. Last answered" in text and "l1fe" not in text
