"""Orders from the page: what is sent, what is never sent, and what a person is told."""

from __future__ import annotations

import json
import uuid
from dataclasses import replace

import pytest

from controller.beerjson import parse
from controller.order_kinds import misfit
from controller.wire import Order, Reply, encode
from dashboard.fermentation.strains import strain
from dashboard.web import ordering
from dashboard.web.app import Beside
from tests.browser.states import NOW_UTC_S, Scene, holding, new_chamber, silent, tripped, warming
from tests.dashboard.web.test_app import OWN, client_of
from tests.dashboard.web.test_app import scene as scene  # a fixture

PATH = "/chambers/garage-left/orders"


class Sent:
    """The way to the broker: notes what is sent, and answers it as a controller might."""

    def __init__(self, scene: Scene, taken: bool | None = True) -> None:
        self.scene = scene
        self.taken = taken
        self.works = True
        self.orders: list[Order] = []

    def __call__(self, order: Order) -> bool:
        if not self.works:
            return False
        self.orders.append(order)
        if self.taken is not None:
            reason = "Done as asked." if self.taken else "44 °C is above the 41 °C it allows."
            reply = Reply(order.chamber, order.id, self.taken, reason, NOW_UTC_S)
            self.scene.store.answer_order(reply)
        return True


def client(scene: Scene, sent: Sent):
    return client_of(scene, beside=Beside(say=sent))


def asked(scene: Scene, sent: Sent, **typed: str):
    return client(scene, sent).post(PATH, data=typed, headers=OWN)


KINDS = [
    ({"kind": "hold", "target": "31,5", "for": "60"}, {"target_c": 31.5, "for_s": 3600.0}),
    ({"kind": "hold", "target": "31.5", "for": "open"}, {"target_c": 31.5}),
    ({"kind": "hold", "target": "31.5", "for": "nonsense"}, {"target_c": 31.5, "for_s": 7200.0}),
    ({"kind": "hold", "target": "88.7", "units": "f:sg:l:"}, {"target_c": 31.5, "for_s": 7200.0}),
    ({"kind": "resume"}, {}),
    ({"kind": "next"}, {}),
    ({"kind": "end"}, {}),
    ({"kind": "acknowledge", "code": "late"}, {"code": "late"}),
    ({"kind": "acknowledge"}, {}),
    ({"kind": "shelve", "code": "late", "for": "8"}, {"code": "late", "for_s": 28_800.0}),
    ({"kind": "shelve", "code": "late", "for": "99"}, {"code": "late", "for_s": 3600.0}),
    ({"kind": "unshelve", "code": "late"}, {"code": "late"}),
    ({"kind": "release", "code": "beer-too-hot"}, {"code": "beer-too-hot"}),
]


@pytest.mark.parametrize(("typed", "arguments"), KINDS, ids=lambda each: each.get("kind", ""))
def test_each_button_sends_its_order_once_and_shows_the_answer(scene, typed, arguments) -> None:
    warming(scene)
    sent = Sent(scene)
    answer = asked(scene, sent, **typed)
    assert (answer.status_code, answer.headers["location"]) == (303, "/chambers/garage-left#asked")
    (order,) = sent.orders
    assert uuid.UUID(order.id).version == 4
    assert (order.chamber, order.ttl_s, order.utc_s) == ("garage-left", 60.0, NOW_UTC_S)
    bare = Order("garage-left", order.id, order.issuer, NOW_UTC_S, 60.0, typed["kind"])
    assert order == replace(bare, **arguments)
    assert misfit(order.kind, arguments) is None
    assert "Done:</strong>" in client(scene, sent).get("/chambers/garage-left").text


def test_a_refusal_is_shown_with_its_reason(scene) -> None:
    warming(scene)
    sent = Sent(scene, taken=False)
    asked(scene, sent, kind="hold", target="44")
    page = client(scene, sent).get("/chambers/garage-left").text.replace("\u00a0", " ")
    assert "Refused:</strong> Hold 44.0 °C for 120 min. 44 °C is above the 41 °C it allows." in page


def test_without_an_answer_it_is_said_and_later_that_nothing_was_done(scene, monkeypatch) -> None:
    monkeypatch.setattr(ordering, "WAIT_S", 0.0)
    warming(scene)
    sent = Sent(scene, taken=None)
    asked(scene, sent, kind="resume")
    page = client(scene, sent)
    assert (
        "Asked:</strong> Resume the procedure. No answer yet."
        in page.get("/chambers/garage-left").text
    )
    scene.now_utc_s += 61.0
    assert "Not done:</strong>" in page.get("/chambers/garage-left").text


@pytest.mark.parametrize("target", ["", "warm", "1e999", "46", "-3", "nan"])
def test_a_temperature_that_cannot_be_meant_comes_back_beside_its_field(scene, target) -> None:
    warming(scene)
    sent = Sent(scene)
    answer = asked(scene, sent, kind="hold", target=target)
    assert (answer.status_code, sent.orders) == (422, [])
    assert f'name="target" type="text" value="{target}"' in answer.text
    assert 'aria-invalid="true"' in answer.text


@pytest.mark.parametrize("kind", ["", "begin", "gravity", "heat", "💥"])
def test_what_the_page_does_not_offer_is_not_sent(scene, kind) -> None:
    warming(scene)
    sent = Sent(scene)
    assert asked(scene, sent, kind=kind).status_code == 409
    assert sent.orders == []


def test_an_argument_that_does_not_fit_is_not_sent(scene) -> None:
    warming(scene)
    sent = Sent(scene)
    for typed in ({"kind": "shelve"}, {"kind": "release"}, {"kind": "shelve", "code": "x" * 199}):
        answer = asked(scene, sent, **typed)
        assert answer.status_code == 503 and "Nothing was asked" in answer.text
    assert sent.orders == [] and scene.store.orders("garage-left", 9) == ()


def test_nothing_is_asked_of_a_chamber_that_is_not_heard_or_through_no_broker(scene) -> None:
    warming(scene)
    sent = Sent(scene)
    sent.works = False
    answer = asked(scene, sent, kind="resume")
    assert answer.status_code == 503 and "The broker is away" in answer.text
    silent(scene)
    sent.works = True
    answer = asked(scene, sent, kind="resume")
    assert answer.status_code == 409 and "not heard" in answer.text
    page = client(scene, sent).get("/chambers/garage-left").text
    assert sent.orders == [] and "nothing can be asked of it now" in page


def test_a_foreign_form_gives_no_order(scene) -> None:
    warming(scene)
    sent = Sent(scene)
    page = client(scene, sent)
    for headers in ({}, {"origin": "http://evil.example"}):
        assert page.post(PATH, data={"kind": "end"}, headers=headers).status_code == 403
    assert sent.orders == []


BATCH = {
    "name": "Second", "pitched": "2026-01-14T23:00", "strain": "kveik", "volume": "20",
    "unit": "sg", "original": "1.050", "expected": "",
}  # fmt: skip


def test_a_batch_is_begun_with_its_procedure_only_when_asked_for(scene) -> None:
    new_chamber(scene)
    sent = Sent(scene)
    page = client(scene, sent)
    path = "/chambers/garage-left/batch"
    assert page.post(path, data=BATCH, headers=OWN).headers["location"] == "/chambers/garage-left"
    assert sent.orders == []
    answer = page.post(path, data=BATCH | {"follow": "yes"}, headers=OWN)
    assert answer.headers["location"] == "/chambers/garage-left#asked"
    (order,) = sent.orders
    assert (order.kind, order.batch, order.pitched_utc_s) == ("begin", "Second", NOW_UTC_S - 3600)
    assert parse(order.procedure) == (strain("kveik").procedure,)
    assert len(encode(order)) < 5000 and "\n" not in json.loads(encode(order))["procedure"]


def test_a_batch_is_kept_when_its_controller_cannot_be_asked(scene) -> None:
    new_chamber(scene)
    sent = Sent(scene)
    sent.works = False
    answer = client(scene, sent).post(
        "/chambers/garage-left/batch", data=BATCH | {"follow": "yes"}, headers=OWN
    )
    assert answer.status_code == 503 and "The batch is written down." in answer.text
    assert len(scene.store.batches("garage-left")) == 1


def test_a_gravity_is_told_to_a_controller_that_follows_a_procedure(scene) -> None:
    holding(scene)
    sent = Sent(scene)
    gravity = {
        "batch": "1", "entered": "1.011", "unit": "sg", "sample": "20", "calibrated": "20",
        "taken": "2026-01-14T23:30", "sure": "yes",
    }  # fmt: skip
    page = client(scene, sent)
    page.post("/chambers/garage-left/gravity", data=gravity, headers=OWN)
    assert sent.orders == []
    last = scene.hub.newest("garage-left").tick
    begun = replace(last, seq=last.seq + 1, begun_by="id-1", step=2)
    scene.hub.heard(begun, scene.now_utc_s, False)
    page.post("/chambers/garage-left/gravity", data=gravity | {"entered": "1.010"}, headers=OWN)
    (order,) = sent.orders
    assert (order.kind, order.gravity_sg) == ("gravity", 1.01)
    assert order.age_s == pytest.approx(1800.0, abs=60.0)
    assert len(scene.store.gravities(1)) == 6


def test_a_trip_says_whether_it_is_released_from_here(scene) -> None:
    tripped(scene)
    last = scene.hub.newest("garage-left").tick
    page = client(scene, Sent(scene))
    scene.hub.heard(replace(last, seq=last.seq + 1), NOW_UTC_S, False)
    assert "The cause is put right: release it" in page.get("/chambers/garage-left").text
    stuck = replace(last, seq=last.seq + 2, trips=("heat-while-off",))
    scene.hub.heard(stuck, NOW_UTC_S, False)
    text = page.get("/chambers/garage-left").text
    assert "barmkeep release garage-left heat-while-off" in text
    assert "The cause is put right" not in text
