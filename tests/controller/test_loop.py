"""The order of a tick, what survives a restart, and that off is where everything falls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller import loop, report, wire
from controller.answer import answered
from controller.decision.decide import State
from controller.decision.orders import Asked
from controller.decision.vocabulary import Applied, Command, Moment, Reading, Role
from controller.edge.calibration import Calibration
from controller.edge.journal import Journal, JournalSettings
from controller.edge.orders import Received
from controller.wire import Reply
from tests.controller.decision.driving import hold, plan_for

SPEAKER = report.Speaker("test", "0001-abcd", "one", 10.0, {"beer": Calibration()})


def order(name: str, kind: str, **numbers: float) -> Received:
    wired = wire.Order("test", name, "test", 1.7e9, 60.0, kind)
    return Received(wired, asked=Asked(name, "test", kind, numbers))


def refusal_of(name: str, why: str) -> Received:
    return Received(wire.Order("test", name, "test", 1.7e9, 60.0, "hold"), refusal=why)


class Given:
    """Orders that wait, and whether the disk takes what they leave standing."""

    def __init__(self, *waiting: Received, disk_works: bool = True) -> None:
        self.waiting = list(waiting)
        self.kept: list[tuple[str, bool]] = []
        self.lost = 0
        self._disk_works = disk_works

    @property
    def is_waiting(self) -> bool:
        return bool(self.waiting)

    def take(self, limit: int) -> list[Received]:
        taken, self.waiting = self.waiting[:limit], self.waiting[limit:]
        return taken

    def flood(self) -> int:
        return self.lost

    def keep(self, begun: object, reply: Reply, issued_utc_s: float) -> bool:
        self.kept.append((reply.id, reply.taken))
        return self._disk_works


class Outside:
    """Every outside thing in one, that notes the order in which it is asked."""

    def __init__(self, folder: Path) -> None:
        self.order: list[str] = []
        self.mono_s = 1000.0
        self.journal = Journal.open(folder, JournalSettings(), self.now(), "abcd")
        self.breaks_at = ""
        self.said: list[Reply] = []

    def note(self, what: str) -> None:
        self.order.append(what)
        if what == self.breaks_at:
            raise RuntimeError(what)

    def now(self) -> Moment:
        return Moment(self.mono_s, 1.7e9 + self.mono_s)

    def sleep_until(self, mono_s: float) -> None:
        self.note("rest")
        self.mono_s = max(self.mono_s, mono_s)

    def read(self) -> tuple[Reading, ...]:
        self.note("probes")
        return (Reading(Role.BEER, self.mono_s, value_c=30.0),)

    def apply(self, command: Command) -> Applied:
        self.note("relays")
        return Applied(command.heat, command.fan)

    def off(self) -> None:
        self.order.append("off")

    def say(self, reply: Reply) -> None:
        self.note("say")
        self.said.append(reply)

    def pump(self, now: Moment) -> None:
        self.note("courier")

    def feed(self) -> None:
        self.note("watchdog")

    def interrupt(self) -> None:
        self.order.append("interrupt")

    def parts(self) -> loop.Parts:
        append = self.journal.append

        def noted(*given: object, **named: object) -> None:
            self.note("journal")
            append(*given, **named)  # type: ignore[arg-type]

        self.journal.append = noted  # type: ignore[method-assign]
        return loop.Parts(self, self, self, self.journal, self, self, 100.0)


def after(turns: int) -> Callable[[State, object], bool]:
    left = [turns]

    def until(_state: State, _decision: object) -> bool:
        left[0] -= 1
        return left[0] == 0

    return until


def test_a_tick_acts_then_writes_down_then_tells_then_feeds_the_watchdog(tmp_path: Path) -> None:
    outside = Outside(tmp_path)
    loop.tick(plan_for(hold(35.0)), State(), outside.parts(), SPEAKER)
    assert outside.order == ["probes", "relays", "journal", "courier", "watchdog"]


@pytest.mark.parametrize("part", ["probes", "relays", "journal", "courier", "watchdog", "rest"])
def test_whatever_breaks_the_relays_are_off_and_the_watchdog_is_not_fed_after(
    tmp_path: Path, part: str
) -> None:
    outside = Outside(tmp_path)
    outside.breaks_at = part
    with pytest.raises(RuntimeError):
        loop.run(plan_for(hold(35.0)), State(), outside.parts(), SPEAKER, after(3))
    assert outside.order[-1] == "off"
    assert outside.order[-2] == part


def test_it_keeps_its_pace_and_does_not_make_up_for_a_stall(tmp_path: Path) -> None:
    outside = Outside(tmp_path)
    parts = outside.parts()
    seen: list[float] = []

    def until(_state: State, _decision: object) -> bool:
        seen.append(outside.mono_s)
        outside.mono_s += 35.0 if len(seen) == 2 else 1.0
        return len(seen) == 5

    loop.run(plan_for(hold(35.0)), State(), parts, SPEAKER, until)
    assert seen == [1000.0, 1010.0, 1045.0, 1055.0, 1065.0]


def test_orders_are_obeyed_before_feeling_written_down_whole_and_told_after(
    tmp_path: Path,
) -> None:
    outside = Outside(tmp_path)
    orders = Given(order("a", "hold", target_c=22.0), order("b", "end"))
    parts = replace(outside.parts(), orders=orders)
    state, decision = loop.tick(plan_for(hold(35.0)), State(), parts, SPEAKER)
    assert decision.target_c == 22.0 or decision.target is None
    assert [(reply.id, reply.taken) for reply in outside.said] == [("a", True), ("b", True)]
    assert outside.order == ["probes", "relays", "journal", "say", "say", "courier", "watchdog"]
    words = [(each.code, each.state, each.order) for each in decision.transitions[:4]]
    assert words == [
        ("hold", "begun", "a"),
        ("order", "taken", "a"),
        ("profile", "ended", "b"),
        ("order", "taken", "b"),
    ]
    assert state.begun is not None and state.begun.id == "b"
    assert orders.kept == [("a", True), ("b", True)]


def test_an_order_ends_the_rest_but_not_at_once_again_and_again(tmp_path: Path) -> None:
    outside = Outside(tmp_path)
    orders = Given()
    parts = replace(outside.parts(), orders=orders, pump_every_s=0.25)
    seen: list[float] = []

    def until(_state: State, _decision: object) -> bool:
        seen.append(outside.mono_s)
        orders.waiting.append(order(f"id-{len(seen)}", "resume"))
        if len(seen) >= 4:
            orders.waiting.clear()
        return len(seen) == 6

    loop.run(plan_for(hold(35.0)), State(), parts, SPEAKER, until)
    assert seen == [1000.0, 1000.5, 1001.0, 1001.5, 1011.5, 1021.5]


def test_what_the_disk_would_forget_is_refused_and_nothing_of_it_done(tmp_path: Path) -> None:
    orders = Given(order("a", "end"), order("b", "hold", target_c=22.0), disk_works=False)
    before = State()
    state, replies, news = answered(
        plan_for(hold(35.0)), before, orders, "test", Moment(1000.0, 1.7e9)
    )
    assert [(reply.id, reply.taken) for reply in replies] == [("a", False), ("b", True)]
    assert "make room" in replies[0].reason
    assert [each.state for each in news] == ["refused", "begun", "taken"]
    assert state.begun is None
    assert orders.kept == [("a", True), ("a", False), ("b", True)]


def test_a_repeated_order_gets_its_answer_again_and_is_not_obeyed(tmp_path: Path) -> None:
    told = Reply("test", "a", True, "Done.", 1.7e9)
    orders = Given(Received(order("a", "next").order, repeat=told))
    state, replies, news = answered(
        plan_for(hold(35.0), hold(30.0)), State(), orders, "test", Moment(1000.0, 1.7e9)
    )
    assert (replies, news, state) == ((told,), (), State())


def test_a_flood_is_told_once(tmp_path: Path) -> None:
    orders = Given(refusal_of("a", "It was 90 s old and has expired; give it again."))
    orders.lost = 7
    _, replies, news = answered(plan_for(), State(), orders, "test", Moment(1000.0, 1.7e9))
    assert not replies[0].taken
    assert [each.text.split(":")[0] for each in news] == [
        "test, hold", "7 orders were not looked at",
    ]  # fmt: skip
