"""Restart in the middle of anything: step, ramp, hold, trip, alarm, whatever the clocks say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision.alarm_memory import AlarmMemory, shelved_left_s
from controller.decision.decide import State, decide
from controller.decision.profile import Begun, Hold, Profile, Step
from controller.decision.vocabulary import Moment, Reading, Role
from controller.report import Speaker, lines
from controller.resume import AWAY_S_MAX, Inherited, resumed
from controller.wire import Tick, decode, encode
from tests.controller.decision.driving import Drive, hold, plan_for

YEAR_S = 365 * 86_400.0
SPEAKER = Speaker("test", "0001-abcd", "one", 10.0, {})
ONE = Inherited("one")
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
WARM = Profile("Warm", (Step("rise", 30.0, 34.0, hold_s=7200.0), hold(34.0)))


def at(after_s: float = 60.0, synced: bool = True) -> Moment:
    return Moment(10.0, 1.7e9 + after_s, synced)


def test_a_latched_trip_outlives_a_restart_unless_it_is_released() -> None:
    kept = resumed(TICK, ONE, at(), ())
    assert kept.interlocks.trips == ("beer-too-hot", "fall-too-fast")
    freed = resumed(TICK, ONE, at(), ("beer-too-hot",))
    assert freed.interlocks.trips == ("fall-too-fast",)
    foreign = replace(TICK, trips=("something-newer", "beer-too-hot"))
    assert resumed(foreign, ONE, at(), ()).interlocks.trips == ("beer-too-hot",)


def test_the_profile_goes_on_where_it_was_and_time_away_counts() -> None:
    state = resumed(TICK, ONE, at(600.0), ())
    assert (state.profile.index, state.profile.elapsed_s) == (1, 4200.0)
    assert state.profile.has_begun
    assert state.regulator.integral == 0.07
    assert not state.applied.heat
    assert (state.applied.heat_starts, state.applied.fan_starts) == (41, 3)


NOT_BELIEVED = [
    (600.0, False, True),
    (600.0, True, False),
    (-600.0, True, True),
    (AWAY_S_MAX + 1.0, True, True),
    (10 * YEAR_S, True, True),
    (-10 * YEAR_S, True, True),
    (30 * YEAR_S, False, False),
]


@pytest.mark.parametrize(("after_s", "synced", "was_synced"), NOT_BELIEVED)
def test_time_away_by_a_clock_not_to_be_believed_does_not_count(
    after_s: float, synced: bool, was_synced: bool
) -> None:
    last = replace(
        TICK, synced=was_synced, hold_c=22.0, hold_left_s=900.0, shelved_left_s={"late": 500.0},
        alarm_states={"late": "shlvd"},
    )  # fmt: skip
    state = resumed(last, ONE, at(after_s, synced), ())
    assert state.profile.elapsed_s == 3600.0
    assert state.profile.hold == Hold(22.0, 900.0)
    assert shelved_left_s(state.alarms, at()) == {"late": 500.0}


def test_another_batch_begins_anew_but_keeps_trips_and_counts() -> None:
    state = resumed(TICK, Inherited("two"), at(), ())
    assert not state.profile.has_begun
    assert state.regulator.integral == 0.0
    assert state.interlocks.trips
    assert state.applied.heat_starts == 41
    assert resumed(None, ONE, Moment(10.0, 0.0), ()) == State()


def test_a_batch_begun_by_order_goes_on_where_it_was() -> None:
    begun = Begun("id-7", "two", WARM, 1.7e9 - 9000.0)
    last = replace(TICK, batch="two", begun_by="id-7", gravity_sg=1.02)
    state = resumed(last, Inherited("one", begun), at(100.0), ())
    assert (state.profile.index, state.profile.elapsed_s) == (1, 3700.0)
    assert (state.gravity_sg, state.begun) == (1.02, begun)


def test_a_batch_begun_by_an_order_that_no_tick_knows_counts_from_its_pitching() -> None:
    """The power went between the order and the end of the turn that was to write it down."""
    begun = Begun("id-8", "one", WARM, 1.7e9 - 9000.0)
    for last in (TICK, replace(TICK, begun_by="id-7"), None):
        state = resumed(last, Inherited("one", begun), at(100.0), ())
        assert (state.profile.has_begun, state.profile.elapsed_s) == (False, 9100.0)
        assert state.gravity_sg is None
    unset = resumed(None, Inherited("one", begun), at(100.0, synced=False), ())
    assert unset.profile.elapsed_s == 0.0
    ahead = replace(begun, pitched_utc_s=1.7e9 + 9000.0)
    assert resumed(None, Inherited("one", ahead), at(), ()).profile.elapsed_s == 0.0


def test_a_batch_ended_by_order_stays_ended() -> None:
    last = replace(TICK, batch=None, step=None, step_elapsed_s=None, begun_by="id-9")
    state = resumed(last, Inherited("one", Begun("id-9")), at(), ())
    assert state.begun == Begun("id-9")
    _, decision = decide(plan_for(hold(35.0)), state, (), at())
    assert decision.target is None


def test_a_hold_goes_on_and_ends_on_time_and_the_step_waits_for_it() -> None:
    last = replace(TICK, hold_c=22.0, hold_left_s=900.0)
    early = resumed(last, ONE, at(600.0), ())
    assert early.profile.hold == Hold(22.0, 300.0)
    assert early.profile.elapsed_s == 3600.0
    late = resumed(last, ONE, at(1000.0), ())
    assert late.profile.hold == Hold(22.0, 0.0)
    assert late.profile.elapsed_s == 3700.0
    open_ended = resumed(replace(last, hold_left_s=None), ONE, at(600.0), ())
    assert open_ended.profile.hold == Hold(22.0, None)
    assert open_ended.profile.elapsed_s == 3600.0


def test_a_hold_without_a_procedure_goes_on_too() -> None:
    last = replace(TICK, batch=None, step=None, step_elapsed_s=None, hold_c=22.0)
    assert resumed(last, Inherited(None), at(), ()).profile.hold == Hold(22.0, None)


def test_alarms_are_as_they_were_and_an_unknown_one_is_normal() -> None:
    states = {"late": "unack", "clock-not-set": "acked", "garage-probe-lost": "shlvd",
              "cannot-reach": "rtnun", "beer-drifting": "dsupr"}  # fmt: skip
    last = replace(
        TICK, alarm_states=states | {"newer": "unack"}, first_out="late",
        shelved_left_s={"garage-probe-lost": 500.0}, target_c=34.0, target_high_c=36.0,
    )  # fmt: skip
    state = resumed(last, ONE, at(200.0), ())
    assert state.alarms.states == states
    assert state.alarms.first_out == "late"
    assert state.alarms.aim_c == (34.0, 36.0)
    assert shelved_left_s(state.alarms, at()) == {"garage-probe-lost": 300.0}


def test_an_alarm_that_asks_to_act_at_once_is_not_shelved_whatever_a_tick_says() -> None:
    last = replace(TICK, alarm_states={"tripped": "shlvd"}, shelved_left_s={"tripped": 9e9})
    assert resumed(last, ONE, at(), ()).alarms == AlarmMemory(
        resumed(TICK, ONE, at(), ()).alarms.alarms
    )


def through_a_restart(drive: Drive, away_s: float) -> Drive:
    """Write the last tick as a line, read it back, and go on from it after a while."""
    now = Moment(drive.mono_s, 1.7e9 + drive.mono_s)
    line = lines(SPEAKER, drive.state, drive.decisions[-1], now, 1)[-1]
    last = decode(encode(line))
    assert isinstance(last, Tick)
    then = Moment(50.0, now.utc_s + away_s)
    state = resumed(last, Inherited("one", drive.state.begun), then, ())
    again = Drive(drive.plan, drive.beer_c, state=state, mono_s=drive.mono_s + away_s)
    again.pad_c, again.probe_c = drive.pad_c, drive.probe_c
    return again


def test_a_ramp_goes_on_as_if_nothing_had_happened() -> None:
    plan = plan_for(Step("raise", 20.0, 26.0, hold_s=24 * 3600.0), hold(26.0))
    whole = Drive(plan, beer_c=20.0).run(12)
    parted = through_a_restart(Drive(plan, beer_c=20.0).run(6), 600.0).run(6 - 1 / 6)
    one, two = whole.decisions[-1].target, parted.decisions[-1].target
    assert one is not None and two is not None
    assert two.low_c == pytest.approx(one.low_c, abs=0.001)
    assert parted.codes("begun") == []


def test_an_alarm_raised_before_a_restart_is_cleared_after_it() -> None:
    lost = Drive(plan_for(hold(35.0)), beer_c=35.0, roles=(Role.BEER, Role.GARAGE))
    lost.says = lambda role, _s, value: float("nan") if role is Role.GARAGE else value
    lost.run(0.2)
    assert lost.codes("raised") == ["garage-probe-lost"]
    again = through_a_restart(lost, 30.0).run(0.2)
    assert again.codes("cleared") == ["garage-probe-lost"]
    assert again.codes("raised") == []


def test_a_trip_holds_the_heat_off_from_the_first_tick_after_a_restart() -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=34.0).run(0.5)
    drive.state = replace(
        drive.state, interlocks=replace(drive.state.interlocks, trips=("heat-while-off",))
    )
    drive.run(0.1)
    again = through_a_restart(drive, 5.0).run(1.0)
    assert not any(each.command.heat for each in again.decisions)
    assert again.codes("tripped") == []


def test_a_clock_that_steps_by_years_while_it_runs_moves_no_step() -> None:
    plan = plan_for(Step("a", 20.0, 20.0, hold_s=7200.0), hold(25.0))
    state, elapsed = State(), []
    for turn in range(100):
        utc_s = 1.7e9 + (10 * YEAR_S if turn == 40 else -10 * YEAR_S if turn == 70 else 0.0)
        reading = Reading(Role.BEER, 10.0 * turn, value_c=20.0)
        state, _ = decide(plan, state, (reading,), Moment(10.0 * turn, utc_s))
        elapsed.append(state.profile.elapsed_s)
    assert elapsed == [10.0 * turn for turn in range(100)]
