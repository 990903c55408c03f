"""The whole way from an event in the store to a phone, through real sinks, restarts and storms."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from controller.errors import DiskError
from controller.wire import Event, Presence, Tick
from dashboard.facts import Batch
from dashboard.live import LiveHub
from dashboard.notify import teller as teller_module
from dashboard.notify.choices import NotifySettings, Target
from dashboard.notify.news import State, Transition
from dashboard.notify.teller import RETRY_S_MAX, RETRY_S_MIN, Surroundings, Teller
from dashboard.store import Store
from tests.broker import free_port
from tests.dashboard.notify.made import NOON, at
from tests.dashboard.notify.sinks import wait_for, web_sink

SETTINGS = NotifySettings(zone="Europe/Stockholm", public_address="https://barm.example")


class House:
    """A store, a hub, a clock that is set by hand, and tellers over them."""

    def __init__(self, path) -> None:
        self.path = path
        self.store = Store.open(path)
        self.hub = LiveHub()
        self.now = NOON
        self.trouble: str | None = None
        self.sources: tuple = ()
        self.seq = 0

    def teller(self, *targets: Target, settings: NotifySettings = SETTINGS) -> Teller:
        around = Surroundings(
            self.store, self.hub, lambda: self.now, lambda: self.trouble, self.sources
        )
        return Teller(settings, targets, around)

    def tell(self, code: str = "beer-drifting", state: str = "raised", **more) -> None:
        self.seq += 1
        wanted = {"text": "The beer is at 33.8 °C.", "remedy": "Look.", "priority": "medium"}
        event = Event("left", "b1", self.seq, self.now, 1.0, True, code, state, **(wanted | more))
        self.store.add([event], self.now)
        self.store.commit()

    def tick(self, **more) -> None:
        self.seq += 1
        tick = Tick(
            "left", "b1", self.seq, self.now, 1.0, True, "holding", 0.4, True, False,
            beer_c=35.0, target_c=35.0,
        )  # fmt: skip
        self.hub.heard(Presence("left", "b1", "present", self.now, "x", 5.0), self.now, False)
        self.hub.heard(replace(tick, **more), self.now, False)

    def reopen(self) -> None:
        self.store.close()
        self.store = Store.open(self.path)


@pytest.fixture
def house(tmp_path) -> Iterator[House]:
    made = House(tmp_path / "store.db")
    yield made
    made.store.close()


def run(teller: Teller) -> None:
    """One look, and everything that is due."""
    teller.look()
    for target in teller.targets:
        teller.send(target)


def subjects(sink) -> list[str]:
    return [post["subject"] for post in sink.posts]


@pytest.mark.parametrize("scheme", ["http", "json"])
def test_one_alarm_is_one_message_and_its_end_another(house, scheme):
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address(scheme)))
        house.tell()
        for _ in range(5):
            run(teller)
            house.now += 60
        house.tell(state="cleared", text="No longer so.")
        for _ in range(5):
            run(teller)
            house.now += 60
    key = "subject" if scheme == "http" else "title"
    assert [post[key] for post in sink.posts] == ["left: soon", "left: over"]


def test_each_target_gets_its_own(house):
    with web_sink() as one, web_sink() as two:
        run(house.teller(Target("a", one.address("http")), Target("b", two.address("http"))))
        house.tell()
        run(house.teller(Target("a", one.address("http")), Target("b", two.address("http"))))
    assert subjects(one) == subjects(two) == ["left: soon"]


def test_a_storm_is_one_summary(house):
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        for number in range(30):
            house.tell(f"alarm-{number}")
        run(teller)
        for number in range(30, 40):
            house.tell(f"alarm-{number}")
            house.now += 5
            run(teller)
        assert subjects(sink) == ["30 things at left"]
        house.now += 600
        run(teller)
    assert subjects(sink) == ["30 things at left", "10 things at left"]


def test_a_dead_target_is_tried_again_with_growing_rests_and_hears_once(house):
    port = free_port()
    target = Target("phone", f"http://127.0.0.1:{port}/sink")
    teller = house.teller(target)
    house.tell()
    rests = []
    for _ in range(8):
        run(teller)
        (waiting,) = teller.deliveries()
        assert waiting.state == "waiting" and "cannot be reached" in waiting.error
        rests.append(waiting.next_utc_s - house.now)
        house.now += rests[-1] - 1
        teller.send(target)
        assert teller.deliveries()[0].tries == len(rests), "tried before its time"
        house.now += 1
    assert rests == [min(RETRY_S_MAX, RETRY_S_MIN * 2**i) for i in range(8)]
    with web_sink(port) as sink:
        for _ in range(3):
            run(teller)
            house.now += 60
        assert subjects(sink) == ["left: soon"]
    assert teller.deliveries()[0].state == "delivered"


def test_what_waited_for_a_dead_target_comes_together_and_nothing_is_lost(house):
    port = free_port()
    teller = house.teller(Target("phone", f"http://127.0.0.1:{port}/sink"))
    for number in range(6):
        house.tell(f"alarm-{number}", text=f"Number {number}.")
        run(teller)
        house.now += 400
    house.reopen()
    house.now += RETRY_S_MAX
    with web_sink(port) as sink:
        run(house.teller(Target("phone", sink.address("http"))))
    (post,) = sink.posts
    assert post["subject"] == "6 messages that had to wait" and post["is_repeat"] is False
    assert all(f"Number {number}." in post["text"] for number in range(6))


def test_what_is_refused_for_good_is_not_tried_again_and_says_why(house):
    with web_sink(status=404) as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        house.tell()
        for _ in range(3):
            run(teller)
            house.now += 3600
        assert len(sink.posts) == 1
    (delivery,) = teller.deliveries()
    assert delivery.state == "refused" and "404" in delivery.error


def test_nothing_is_told_again_after_a_restart(house):
    with web_sink() as sink:
        for _ in range(3):
            if not sink.posts:
                house.tell()
            run(house.teller(Target("phone", sink.address("http"))))
            house.reopen()
            house.now += 60
        house.tell(state="cleared")
        run(house.teller(Target("phone", sink.address("http"))))
    assert subjects(sink) == ["left: soon", "left: over"]


def test_what_was_being_sent_at_a_kill_is_sent_again_with_the_same_identity_and_says_so(house):
    with web_sink() as sink:
        target = Target("phone", sink.address("http"))
        teller = house.teller(target)
        house.tell()
        teller.look()
        due = house.store.outbox.due("phone", house.now)
        house.store.outbox.begin(due, house.now)  # and here the kill
        house.reopen()
        run(house.teller(target))
    (post,) = sink.posts
    assert post["is_repeat"] is True and post["text"].startswith("Perhaps sent before")


def test_quiet_hours_let_danger_through_and_keep_the_rest_till_morning(house):
    house.now = at("15 23:00")
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        house.tell("cannot-reach")
        house.tell("clock-not-set", priority="low")
        house.tell("beer-drifting")
        house.tell("pad-too-hot", priority="high", text="The pad is too hot.")
        run(teller)
        assert subjects(sink) == ["left: now"]
        house.now = at("16 03:00")
        house.tell("beer-drifting", "cleared")
        run(teller)
        assert len(sink.posts) == 1
        house.now = at("16 07:00")
        house.tick(alarms=("cannot-reach", "pad-too-hot"))
        run(teller)
    assert subjects(sink) == ["left: now", "left: soon"]
    assert "33.8" in sink.posts[1]["text"] and "Since Thursday 23:00." in sink.posts[1]["text"]


def test_a_silent_controller_is_told_once_and_dated_by_when_it_became_so(house):
    house.store.add_batch(Batch(0, "left", "Pale", NOON - 9e4, 1.05, 1.01, 20.0, "kveik"))
    with web_sink() as sink:
        target = Target("phone", sink.address("http"))
        teller = house.teller(target)
        house.tick()
        for minutes in (1, 9, 11, 12, 50):
            house.now = NOON + 60 * minutes
            run(teller)
        assert subjects(sink) == ["left: now"] and "Since 12:10." in sink.posts[0]["text"]
        house.reopen()
        teller = house.teller(target)
        for minutes in (51, 70, 90):
            house.now = NOON + 60 * minutes
            run(teller)
        assert len(sink.posts) == 1
        house.tick()
        run(teller)
    assert subjects(sink) == ["left: now", "left: over"]
    assert sink.posts[0]["link"] == "https://barm.example/chambers/left"


def test_when_the_dashboard_hears_nothing_only_that_is_told(house):
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        house.tick()
        run(teller)
        house.trouble = "The broker does not answer."
        for minutes in (1, 5, 12, 30):
            house.now = NOON + 60 * minutes
            run(teller)
        assert subjects(sink) == ["The dashboard: now"]
        house.trouble = None
        run(teller)
        house.now += 60
        run(teller)
        assert subjects(sink)[1:] == ["The dashboard: over"]
        house.now += 700
        run(teller)
    assert subjects(sink)[2:] == ["left: now"], "silent still, ten minutes after the broker is back"


def test_an_alarm_that_a_restart_ended_is_told_to_be_over(house):
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        house.tell()
        run(teller)
        house.now += 120
        house.tick(alarms=("beer-drifting",))
        run(teller)
        assert len(sink.posts) == 1
        house.now += 120
        house.tick(boot="b2")
        run(teller)
    assert subjects(sink) == ["left: soon", "left: over"]


def test_a_week_that_arrives_at_once_tells_only_what_still_stands(house):
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        house.now = NOON - 5 * 86_400
        house.tell("beer-drifting")
        house.tell("cannot-reach")
        house.tell("pad-probe-lost")
        house.now += 3600
        house.tell("beer-drifting", "cleared")
        house.now = NOON
        house.tick(alarms=("cannot-reach",))
        run(teller)
    assert subjects(sink) == ["left: soon"]
    assert "Since Saturday 12:00." in sink.posts[0]["text"]


def test_other_sources_come_through_the_same_door(house):
    due = Transition(
        "agenda/7/dry-hop", "left/dry-hop", State.RAISED, NOON, "medium",
        "Two thirds of the drop are done at 1.025.", "Add the dry hops.", "left", says_over=False,
    )  # fmt: skip
    done = replace(due, origin="agenda/7/dry-hop/done", state=State.CLEARED)
    known = [due]
    house.sources = (lambda now: known,)
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        for _ in range(3):
            run(teller)
            house.now += 600
        known.append(done)
        house.now += 600
        run(teller)
    assert subjects(sink) == ["left: soon"] and "Add the dry hops." in sink.posts[0]["text"]


def test_a_source_that_stumbles_keeps_no_alarm_from_being_told(house, caplog):
    def stumbling(now: float):
        yield from ()
        raise ZeroDivisionError

    house.sources = (stumbling,)
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        house.tell()
        run(teller)
    assert subjects(sink) == ["left: soon"] and "A source of news failed" in caplog.text


def test_a_store_that_cannot_be_written_is_shouted_once_past_the_outbox(house, monkeypatch):
    monkeypatch.setattr(teller_module, "LOOK_S", 0.02)

    def broken(*_):
        raise DiskError("The disk is full.", "Free some space.")

    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        monkeypatch.setattr(house.store.outbox, "unheeded", broken)
        teller.start()
        wait_for(lambda: sink.posts)
        wait_for(lambda: not teller._over.wait(0.2))
        teller.stop()
    (post,) = sink.posts
    assert post["priority"] == "high" and post["text"].startswith("The disk is full. Free")


def test_the_threads_do_it_all_by_themselves(house, monkeypatch):
    monkeypatch.setattr(teller_module, "LOOK_S", 0.02)
    with web_sink() as sink:
        teller = house.teller(Target("phone", sink.address("http")))
        teller.start()
        house.tell()
        wait_for(lambda: sink.posts)
        wait_for(lambda: teller.deliveries()[0].state == "delivered")
        teller.stop()
    assert subjects(sink) == ["left: soon"]


def test_a_trial_is_sent_at_once_and_its_failure_said(house):
    with web_sink() as sink:
        teller = house.teller(
            Target("phone", sink.address("http")),
            Target("dead", f"http://127.0.0.1:{free_port()}/"),
        )
        teller.try_out("phone")
        assert subjects(sink) == ["A trial for phone"]
    teller.try_out("dead")
    assert teller.trials["phone"] == (NOON, "")
    assert "cannot be reached" in teller.trials["dead"][1]


def test_a_target_that_is_gone_holds_nothing_up(house):
    teller = house.teller(Target("old", f"http://127.0.0.1:{free_port()}/"))
    house.tell()
    run(teller)
    house.now += teller_module.TIDY_S
    after = house.teller()
    after.look()
    assert [each.state for each in after.deliveries()] == ["given up"]


def test_looking_writes_nothing_when_nothing_happened(house):
    teller = house.teller()
    house.tick()
    house.sources = ()
    teller.look()
    before = house.store._database._writer.total_changes
    for _ in range(10):
        house.now += 5
        house.tick()
        teller.look()
    assert house.store._database._writer.total_changes == before
