"""What is let in and what is not: retained, malformed, foreign, late, replayed, too many."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller import wire
from controller.beerjson import to_beerjson
from controller.decision.profile import Profile, Step
from controller.decision.vocabulary import Moment
from controller.edge.orders import LOOKED_AT_MAX, NAME_MAX, WAITING_MAX, Inbox
from controller.edge.standing import Standing
from controller.order_kinds import ORDER_KINDS, TTL_S_MAX
from controller.wire import Order, Reply

YEAR_S = 365 * 86_400.0
WARM = Profile("Warm", (Step("rise", 30.0, 34.0, 7200.0), Step("hold", 34.0, 34.0)))


class Door:
    """An inbox on a clock that the test moves."""

    def __init__(self, folder: Path) -> None:
        self.mono_s, self.utc_s, self.synced = 100.0, 1.7e9, True
        self.inbox = Inbox("left", self, Standing(folder, "one"))

    def now(self) -> Moment:
        return Moment(self.mono_s, self.utc_s, self.synced)

    def sleep_until(self, mono_s: float) -> None:
        raise AssertionError

    def order(self, kind: str = "next", **more: object) -> Order:
        given_order = Order("left", "id-1", "phone", self.utc_s, 60.0, kind)
        return replace(given_order, **more)

    def hears(self, order: Order | bytes, retained: bool = False) -> Door:
        self.inbox.hear(
            order if isinstance(order, bytes) else wire.encode(order).encode(), retained
        )
        return self

    def takes(self, *orders: Order):
        for each in orders:
            self.hears(each)
        return self.inbox.take(100)

    def refuses(self, order: Order) -> str:
        (received,) = self.takes(order)
        assert received.asked is None and received.repeat is None
        assert received.refusal.endswith((".", "again."))
        return received.refusal


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return Door(tmp_path)


def test_an_order_is_taken_with_its_arguments_by_kind(door: Door) -> None:
    (held,) = door.takes(door.order("hold", target_c=22.0, for_s=600.0))
    assert (held.asked.kind, held.asked.numbers) == ("hold", {"target_c": 22.0, "for_s": 600.0})
    begin = door.order(
        "begin", id="id-2", batch="two", procedure=to_beerjson(WARM), pitched_utc_s=1.7e9
    )
    (begun,) = door.takes(begin)
    assert (begun.asked.texts, begun.asked.profile) == ({"batch": "two"}, WARM)


def test_a_full_procedure_fits_a_line(door: Door) -> None:
    steps = tuple(
        Step(f"step {n} of a long procedure", 20.0, 20.5, 86_400.0, 1.01) for n in range(40)
    )
    text = json.dumps(json.loads(to_beerjson(Profile("Long", steps))), separators=(",", ":"))
    order = door.order("begin", batch="two", procedure=text)
    assert len(text) > 8000 and len(wire.encode(order)) < wire.LINE_BYTES_MAX
    (begun,) = door.takes(order)
    assert begun.asked.profile.steps == steps


def test_orders_come_out_in_order_and_a_few_at_a_time(door: Door) -> None:
    for number in range(6):
        door.hears(door.order(id=f"id-{number}"))
    assert door.inbox.is_waiting
    assert [each.order.id for each in door.inbox.take(4)] == ["id-0", "id-1", "id-2", "id-3"]
    assert [each.order.id for each in door.inbox.take(4)] == ["id-4", "id-5"]
    assert not door.inbox.is_waiting


@pytest.mark.parametrize(
    "payload",
    [b"", b"nonsense", b"{}", b"[1]", b"\xff\xfe", b"\x00" * 50, b"x" * 20_000,
     b'{"v":1,"is":"order"}'],
)  # fmt: skip
def test_what_is_no_order_does_nothing_and_is_not_answered(door: Door, payload: bytes) -> None:
    assert door.hears(payload).inbox.take(9) == []
    assert door.inbox.junk == 1


@pytest.mark.parametrize(
    "change",
    [
        {"chamber": "right"}, {"id": ""}, {"id": "x" * (NAME_MAX + 1)}, {"id": "a\nb"},
        {"issuer": ""}, {"issuer": "x" * (NAME_MAX + 1)},
    ],
)  # fmt: skip
def test_a_foreign_or_nameless_order_does_nothing(door: Door, change: dict[str, str]) -> None:
    assert door.takes(door.order(**change)) == []
    assert door.inbox.junk == 1


def test_a_retained_order_does_nothing(door: Door) -> None:
    assert door.hears(door.order(), retained=True).inbox.take(9) == []


def test_another_message_on_the_topic_does_nothing(door: Door) -> None:
    assert door.hears(wire.encode(Reply("left", "a", True, "x", 1.0)).encode()).inbox.take(9) == []


def test_an_order_is_late_by_a_clock_that_is_set(door: Door) -> None:
    assert "61 s old and has expired" in door.refuses(door.order(utc_s=door.utc_s - 61.0))
    (just,) = door.takes(door.order(id="id-2", utc_s=door.utc_s - 60.0))
    assert just.asked is not None
    assert "from the future" in door.refuses(door.order(id="id-3", utc_s=door.utc_s + 121.0))
    for years in (-10, 10):
        why = door.refuses(door.order(id=f"y{years}", utc_s=door.utc_s + years * YEAR_S))
        assert "expired" in why or "future" in why


@pytest.mark.parametrize("ttl_s", [0.0, -5.0, TTL_S_MAX + 1.0, 1e12])
def test_an_order_cannot_live_for_ever(door: Door, ttl_s: float) -> None:
    assert "give 1 to 600" in door.refuses(door.order(ttl_s=ttl_s))


@pytest.mark.parametrize("synced", [True, False])
def test_an_order_that_waited_too_long_is_refused_by_either_clock(door: Door, synced: bool) -> None:
    door.synced = synced
    door.hears(door.order())
    door.mono_s += 61.0
    (received,) = door.inbox.take(9)
    assert "waited too long" in received.refusal


def test_without_a_clock_an_order_counts_from_its_receipt_and_an_older_one_is_no_more(
    door: Door,
) -> None:
    door.synced, door.utc_s = False, 0.0
    (received,) = door.takes(door.order(utc_s=1.7e9))
    assert received.asked is not None
    door.inbox.keep(None, Reply("left", "id-1", True, "Done.", 0.0), 1.7e9)
    assert "older than one" in door.refuses(door.order(id="old", utc_s=1.7e9 - 3600.0))
    (newer,) = door.takes(door.order(id="new", utc_s=1.7e9 + 5.0))
    assert newer.asked is not None


def test_without_a_clock_no_order_can_make_all_later_ones_seem_old(
    door: Door, tmp_path: Path
) -> None:
    door.synced, door.utc_s = False, 0.0
    (received,) = door.takes(door.order(utc_s=1.7e9))
    assert received.asked is not None
    door.mono_s += 600.0
    assert "from the future" in door.refuses(door.order(id="far", utc_s=1.7e9 + YEAR_S))
    (later,) = door.takes(door.order(id="id-2", utc_s=1.7e9 + 700.0))
    assert later.asked is not None
    door.inbox.keep(None, Reply("left", "id-2", True, "Done.", 0.0), 1.7e9 + 700.0)
    again = Door(tmp_path)
    again.synced = False
    assert "from the future" in again.refuses(again.order(id="id-3", utc_s=1.7e9 + 2 * YEAR_S))
    (after,) = again.takes(again.order(id="id-4", utc_s=1.7e9 + 90 * 86_400.0))
    assert after.asked is not None


def test_an_answered_order_is_answered_the_same_again_even_when_it_is_late(
    door: Door, tmp_path: Path
) -> None:
    told = Reply("left", "id-1", False, "No.", 1.7e9)
    door.inbox.keep(None, told, 1.7e9)
    door.utc_s += 500.0
    (received,) = door.takes(door.order(utc_s=1.7e9, kind="end"))
    assert received.repeat == told
    again = Door(tmp_path)
    (received,) = again.takes(again.order())
    assert received.repeat == told, "a restart does not make it new"


@pytest.mark.parametrize(
    ("kind", "more", "why"),
    [
        ("heat", {}, "There is no order called 'heat'"),
        ("hold", {}, "needs target_c"),
        ("hold", {"target_c": 350.0}, "target_c is 350; give -2 to 45."),
        ("hold", {"target_c": 20.0, "for_s": 1e9}, "for_s is 1e+09"),
        ("resume", {"target_c": 20.0}, "takes no target_c"),
        ("begin", {"batch": "two", "procedure": "{}"}, "beerjson"),
        ("begin", {"batch": "two", "procedure": "[" * 900}, "not proper JSON"),
        ("begin", {"batch": " ", "procedure": "{}"}, "batch is empty"),
        ("shelve", {"code": "late", "for_s": 90_000.0}, "give 60 to 86400"),
    ],
)
def test_what_does_not_fit_is_answered_with_why(
    door: Door, kind: str, more: dict[str, object], why: str
) -> None:
    told = door.refuses(door.order(kind, **more))
    assert why in told
    assert len(told) < 600


def test_several_procedures_at_once_are_refused(door: Door) -> None:
    body = json.loads(to_beerjson(WARM))
    body["beerjson"]["fermentations"] *= 2
    order = door.order("begin", batch="two", procedure=json.dumps(body))
    assert "Send one alone." in door.refuses(order)


def test_more_than_the_queue_holds_is_not_looked_at(door: Door) -> None:
    for number in range(WAITING_MAX + 7):
        door.hears(door.order(id=f"id-{number}"))
    assert len(door.inbox.take(100)) == WAITING_MAX
    assert (door.inbox.flood(), door.inbox.flood()) == (7, 0)


def test_no_more_are_looked_at_than_so_many_in_a_minute(door: Door) -> None:
    seen = 0
    for number in range(200):
        door.mono_s += 0.1
        seen += len(door.takes(door.order(id=f"id-{number}")))
    assert seen == LOOKED_AT_MAX
    assert door.inbox.flood() == 200 - LOOKED_AT_MAX
    door.mono_s += 60.0
    assert len(door.takes(door.order(id="after"))) == 1


values = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30)
keys = st.sampled_from([each.name for each in Order.__dataclass_fields__.values()])


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.sampled_from([kind.name for kind in ORDER_KINDS]),
    st.dictionaries(keys | st.text(max_size=5), values, max_size=6),
    st.binary(max_size=60),
)
def test_nothing_whatever_gets_through_that_does_not_fit(
    tmp_path: Path, kind: str, change: dict[str, object], noise: bytes
) -> None:
    door = Door(tmp_path)
    body = json.loads(wire.encode(door.order(kind))) | change
    for payload in (json.dumps(body).encode(), noise, json.dumps(body).encode() + noise):
        for received in door.hears(payload).inbox.take(9):
            told = (received.asked, received.refusal, received.repeat)
            assert sum(each is not None for each in told) == 1
            if received.asked is not None:
                assert received.asked.kind in {each.name for each in ORDER_KINDS}
