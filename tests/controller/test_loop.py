"""The order of a tick, what survives a restart, and that off is where everything falls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller import loop, report
from controller.decision.decide import State
from controller.decision.vocabulary import Applied, Command, Moment, Reading, Role
from controller.edge.journal import Journal, JournalSettings
from controller.wire import Tick
from tests.controller.decision.driving import hold, plan_for

SPEAKER = report.Speaker("test", "0001-abcd", "one", 10.0, {"beer": 0.0})
TICK = Tick(
    chamber="test",
    boot="0001-abcd",
    seq=9,
    utc_s=1.7e9,
    mono_s=500.0,
    synced=True,
    phase="holding",
    demand=0.4,
    heat=True,
    fan=False,
    batch="one",
    step=2,
    step_elapsed_s=3600.0,
    trips=("beer-too-hot", "fall-too-fast"),
    heat_starts=41,
    fan_starts=3,
    integral=0.07,
)


class Outside:
    """Every outside thing in one, that notes the order in which it is asked."""

    def __init__(self, folder: Path) -> None:
        self.order: list[str] = []
        self.mono_s = 1000.0
        self.journal = Journal.open(folder, JournalSettings(), self.now(), "abcd")
        self.breaks_at = ""

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


def test_a_latched_trip_outlives_a_restart_unless_it_is_released() -> None:
    now = Moment(10.0, 1.7e9 + 60.0)
    kept = loop.resumed(TICK, "one", now, ())
    assert kept.interlocks.trips == ("beer-too-hot", "fall-too-fast")
    freed = loop.resumed(TICK, "one", now, ("beer-too-hot",))
    assert freed.interlocks.trips == ("fall-too-fast",)


def test_the_profile_goes_on_where_it_was_and_time_away_counts() -> None:
    state = loop.resumed(TICK, "one", Moment(10.0, 1.7e9 + 600.0), ())
    assert (state.profile.index, state.profile.elapsed_s) == (1, 4200.0)
    assert state.profile.has_begun
    assert state.regulator.integral == 0.07
    assert (state.applied.heat, state.applied.heat_starts, state.applied.fan_starts) == (
        False,
        41,
        3,
    )


@pytest.mark.parametrize(
    ("utc_s", "synced", "was_synced"),
    [
        (1.7e9 + 600.0, False, True),
        (1.7e9 + 600.0, True, False),
        (1.7e9 - 600.0, True, True),
        (1.7e9 + 40 * 86_400.0, True, True),
    ],
)
def test_time_away_by_a_clock_not_to_be_believed_does_not_count(
    utc_s: float, synced: bool, was_synced: bool
) -> None:
    last = replace(TICK, synced=was_synced)
    state = loop.resumed(last, "one", Moment(10.0, utc_s, synced), ())
    assert state.profile.elapsed_s == 3600.0


def test_another_batch_begins_anew_but_keeps_trips_and_counts() -> None:
    state = loop.resumed(TICK, "two", Moment(10.0, 1.7e9 + 60.0), ())
    assert not state.profile.has_begun
    assert state.regulator.integral == 0.0
    assert state.interlocks.trips
    assert state.applied.heat_starts == 41
    assert loop.resumed(None, "one", Moment(10.0, 0.0), ()) == State()
