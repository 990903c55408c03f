"""A hold against a lumped plant: the procedure waits, nobody is alarmed for nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision.decide import State, decide
from controller.decision.orders import Asked, obey
from controller.decision.profile import Hold, Profile, ProfileMemory, Step, follow
from controller.decision.vocabulary import Moment, Reading, Role
from tests.controller.decision.driving import Drive, hold, plan_for

YEAR_S = 365 * 86_400.0
TWO = Profile("Two", (Step("one", 33.0, 33.0, hold_s=3600.0), hold(36.0)))


def at(mono_s: float) -> Moment:
    return Moment(mono_s, mono_s)


def given(drive: Drive, kind: str, **numbers: float) -> Drive:
    now = Moment(drive.mono_s, 1.7e9 + drive.mono_s)
    drive.state, answer, _ = obey(drive.plan, drive.state, Asked("id", "x", kind, numbers), now)
    assert answer.taken, answer
    return drive


def test_the_step_waits_while_a_temperature_is_held_and_goes_on_after() -> None:
    memory, _, _ = follow(TWO, ProfileMemory(), None, at(0.0))
    memory, target, _ = follow(TWO, memory, None, at(600.0))
    held = replace(memory, hold=Hold(22.0, 100.0))
    held, target, told = follow(TWO, held, None, at(660.0))
    assert (target.low_c, target.high_c, target.step, told) == (22.0, 22.0, 1, ())
    assert (held.hold, held.elapsed_s) == (Hold(22.0, 40.0), 600.0)
    held, target, (over,) = follow(TWO, held, None, at(710.0))
    assert (over.code, over.state, over.since_mono_s) == ("hold", "ended", 700.0)
    assert (held.hold, held.elapsed_s, target.low_c) == (None, 600.0, 33.0)
    held, _, _ = follow(TWO, held, None, at(720.0))
    assert held.elapsed_s == 610.0


def test_a_gravity_ends_no_step_while_it_waits() -> None:
    until = Profile("Until", (Step("one", 33.0, 33.0, end_sg=1.02), hold(36.0)))
    memory = ProfileMemory(hold=Hold(22.0), has_begun=True)
    assert follow(until, memory, 1.010, at(10.0))[0].index == 0
    assert follow(until, replace(memory, hold=None), 1.010, at(10.0))[0].index == 1


def test_without_a_procedure_a_hold_is_all_there_is() -> None:
    memory, target, _ = follow(None, ProfileMemory(hold=Hold(20.0, 50.0)), None, at(10.0))
    assert (target.low_c, target.step, target.step_name) == (20.0, 1, "")
    memory, target, told = follow(None, memory, None, at(70.0))
    assert (memory, target, [each.state for each in told]) == (ProfileMemory(), None, ["ended"])


@pytest.mark.parametrize("step_s", [10 * YEAR_S, -10 * YEAR_S])
def test_a_clock_that_steps_by_years_neither_ends_nor_lengthens_a_hold(step_s: float) -> None:
    state = State(profile=ProfileMemory(hold=Hold(22.0, 600.0), has_begun=True))
    plan = plan_for(hold(33.0))
    lasted = 0
    for turn in range(120):
        utc_s = 1.7e9 + 10.0 * turn + (step_s if turn > 20 else 0.0)
        reading = Reading(Role.BEER, 10.0 * turn, value_c=22.0)
        state, _ = decide(plan, state, (reading,), Moment(10.0 * turn, utc_s))
        lasted += state.profile.hold is not None
    assert lasted == 60


@pytest.mark.parametrize("fan_w_per_k", [2.5, 0.0])
def test_a_beer_on_its_way_down_to_a_hold_is_no_drift(fan_w_per_k: float) -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=35.0, fan_w_per_k=fan_w_per_k).run(1)
    given(drive, "hold", target_c=25.0).run(6)
    # A hold without an end is told after two hours, and nothing else is.
    assert drive.codes("raised") == ["hold-left-on"]
    assert drive.beers_c[-1] < 34.0
    given(drive, "resume").run(12)
    assert abs(drive.beers_c[-1] - 35.0) < 0.3
    assert drive.codes("raised") == ["hold-left-on"]
    assert "hold-left-on" in drive.codes("cleared")


def test_a_beer_that_stays_away_from_its_hold_is_told_at_last() -> None:
    warm = Drive(plan_for(hold(30.0)), beer_c=30.0, garage_c=lambda _: 24.0).run(1)
    given(warm, "hold", target_c=20.0, for_s=7200.0).run(0.5)
    assert warm.codes("raised") == ["beer-drifting"], "no garage as warm as this can cool it"
