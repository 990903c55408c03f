"""Orders to a whole controller process through a real broker: killed, replayed and flooded."""

from __future__ import annotations

import itertools
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from controller.beerjson import to_beerjson
from controller.decision.profile import Profile, Step
from controller.wire import Order, Reply, decode, encode, topic
from tests.broker import Mosquitto, wait_for
from tests.controller import test_chamber
from tests.controller.test_chamber import ROM, lines_of, place
from tests.controller.test_chamber import SETTINGS as BARE

ORDER, REPLY = topic("left", Order), topic("left", Reply)
WARM = Profile("Warm", (Step("rise", 30.0, 34.0, hold_s=7200.0), Step("hold", 34.0, 34.0)))
_numbers = itertools.count(1)
_ = place  # a fixture
# Why: whether the clock of the machine that runs the tests is set must not matter.
PROGRAM = (
    """
from controller.edge import clock
clock.is_synchronised = lambda *_: True
"""
    + test_chamber.PROGRAM
)


def started(place: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(place / "run"), str(place / "left.toml")],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        text=True,
    )


class Chamber:
    """The real `run` of one chamber with probe files, and someone at the broker."""

    def __init__(self, place: Path, broker: Mosquitto) -> None:
        self.place = place
        text = BARE.format(rom=ROM, bus=place / "bus", journal=place / "journal")
        text += f'[broker]\nhost = "127.0.0.1"\nport = {broker.port}\n'
        (place / "left.toml").write_text(text)
        self.ear = broker.ear(REPLY)
        self.process: subprocess.Popen[str] = started(place)
        self.is_heard()

    def is_heard(self) -> None:
        """Wait until it ticks and hears us: it answers a harmless order."""
        wait_for(lambda: self.ticks() or self.process.poll() is not None, 60)

        def answers() -> bool:
            asked = self.says("unshelve", code="nothing")
            time.sleep(0.5)
            return any(reply.id == asked.id for reply in self.replies())

        wait_for(answers, 60)

    def order(self, kind: str, **more: object) -> Order:
        return replace(
            Order("left", f"id-{next(_numbers)}", "test", time.time(), 60.0, kind), **more
        )

    def says(self, kind: str, **more: object) -> Order:
        order = self.order(kind, **more)
        self.ear.say(ORDER, encode(order))
        return order

    def replies(self) -> list[Reply]:
        return [decode(payload) for _, payload, _ in self.ear.heard]  # type: ignore[misc]

    def reply_to(self, order: Order) -> Reply:
        return wait_for(
            lambda: next((each for each in self.replies() if each.id == order.id), None), 20
        )

    def asks(self, kind: str, **more: object) -> Reply:
        return self.reply_to(self.says(kind, **more))

    def ticks(self) -> list[dict[str, object]]:
        return [line for line in lines_of(self.place) if line["is"] == "tick"]

    def after(self, count: int) -> dict[str, object]:
        """The newest tick once so many more have come."""
        before = len(self.ticks())
        wait_for(lambda: len(self.ticks()) >= before + count, 60)
        return self.ticks()[-1]

    def killed_and_started(self) -> None:
        self.process.kill()
        self.process.communicate(timeout=30)
        self.process = started(self.place)
        self.is_heard()

    def close(self) -> None:
        self.process.send_signal(signal.SIGTERM)
        self.process.communicate(timeout=30)


@pytest.fixture
def chamber(place: Path, mosquitto: Mosquitto) -> Iterator[Chamber]:
    made = Chamber(place, mosquitto)
    yield made
    made.close()


def test_a_hold_a_shelf_and_an_acknowledgement_outlive_a_kill(chamber: Chamber) -> None:
    assert chamber.asks("hold", target_c=22.0, for_s=7200.0).taken
    assert chamber.asks("shelve", code="relay-worn", for_s=3600.0).taken
    chamber.killed_and_started()
    tick = chamber.after(1)
    assert (tick["hold_c"], tick["target_c"], tick["step"]) == (22.0, 22.0, 1)
    assert 7100.0 < tick["hold_left_s"] < 7200.0  # type: ignore[operator]
    assert 3500.0 < tick["shelved_left_s"]["relay-worn"] < 3600.0  # type: ignore[index]
    assert tick["alarm_states"] == {"relay-worn": "shlvd"}
    begun = [line for line in lines_of(chamber.place) if line.get("code") == "controller"]
    assert "Still held at 22.0 °C by an order." in begun[-1]["text"]  # type: ignore[operator]


def test_a_batch_begun_and_one_ended_by_order_outlive_a_kill(chamber: Chamber) -> None:
    pitched_utc_s = time.time() - 3600.0
    reply = chamber.asks(
        "begin", batch="two", procedure=to_beerjson(WARM), pitched_utc_s=pitched_utc_s
    )
    assert reply.taken, reply
    first = chamber.after(1)
    chamber.killed_and_started()
    tick = chamber.after(1)
    assert (tick["batch"], tick["step"], tick["step_name"]) == ("two", 1, "rise")
    assert tick["begun_by"] == first["begun_by"] == reply.id
    assert abs(tick["step_elapsed_s"] - (tick["utc_s"] - pitched_utc_s)) < 30.0  # type: ignore[operator]
    assert chamber.asks("next").taken
    assert chamber.asks("end").taken
    # The pad runs for its least time of half a minute, and then no more.
    wait_for(lambda: not chamber.ticks()[-1]["heat"], 60)
    chamber.killed_and_started()
    tick = chamber.after(1)
    assert "target_c" not in tick and "batch" not in tick and not tick["heat"]


def test_the_same_order_is_answered_the_same_and_done_once_even_after_a_kill(
    chamber: Chamber,
) -> None:
    assert chamber.asks("begin", batch="two", procedure=to_beerjson(WARM)).taken
    order = chamber.says("next")
    first = chamber.reply_to(order)
    assert first.taken
    for _ in range(3):
        chamber.ear.say(ORDER, encode(order))
    wait_for(lambda: [each.id for each in chamber.replies()].count(order.id) == 4)
    chamber.killed_and_started()
    chamber.ear.say(ORDER, encode(order))
    wait_for(lambda: [each.id for each in chamber.replies()].count(order.id) == 5)
    assert {each for each in chamber.replies() if each.id == order.id} == {first}
    events = [line for line in lines_of(chamber.place) if line.get("order") == order.id]
    assert [(each["code"], each["state"]) for each in events] == [
        ("step", "changed"), ("order", "taken"),
    ]  # fmt: skip


def test_what_is_retained_foreign_late_or_noise_moves_nothing(chamber: Chamber) -> None:
    before = chamber.after(1)
    hostile = chamber.order("hold", target_c=41.0)
    for payload in (
        encode(replace(hostile, chamber="right")),
        encode(replace(hostile, utc_s=time.time() - 3600.0)),
        encode(replace(hostile, id="id-future", utc_s=time.time() + 10 * 365 * 86_400.0)),
        encode(replace(hostile, id="id-hot", target_c=350.0)),
        encode(replace(hostile, id="id-long", ttl_s=1e9)),
        "x" * 60_000,
        b"\xff\x00" * 40,
        json.dumps({"v": 1, "is": "order"}),
        encode(Reply("left", "id-x", True, "I am a reply.", 0.0)),
    ):
        chamber.ear.say(ORDER, payload)
    chamber.ear.say(ORDER, encode(replace(hostile, id="id-kept")), retain=True)
    # Live it counts as any other; kept by the broker for the next start it must not.
    assert chamber.asks("resume").taken  # It had begun a hold.
    chamber.killed_and_started()
    tick = chamber.after(2)
    assert tick["target_c"] == before["target_c"] == 35.0
    assert "hold_c" not in tick
    told = {each.id: each for each in chamber.replies()}
    assert "expired" in told[hostile.id].reason
    assert "future" in told["id-future"].reason
    assert "give -2 to 45" in told["id-hot"].reason
    assert "give 1 to 600" in told["id-long"].reason
    assert "id-x" not in told


def test_a_flood_neither_stops_the_loop_nor_fills_the_journal(chamber: Chamber) -> None:
    count = len(chamber.ticks())
    began_s = time.monotonic()
    for number in range(2000):
        order = chamber.order("hold", target_c=20.0 + number % 10)
        chamber.ear.client.publish(ORDER, encode(order), qos=1)
    wait_for(lambda: len(chamber.ticks()) >= count + 4, 90)
    passed_s = time.monotonic() - began_s
    ticks = chamber.ticks()[count:]
    assert len(ticks) < passed_s / 0.5 + 2
    events = [line for line in lines_of(chamber.place) if line.get("code") == "order"]
    assert sum(line["state"] == "taken" for line in events) <= 30 * (1 + passed_s // 60.0)
    assert any("were not looked at" in str(line["text"]) for line in events)
    files = (chamber.place / "journal" / "left").iterdir()
    assert sum(each.stat().st_size for each in files) < 500_000
    assert chamber.process.poll() is None
