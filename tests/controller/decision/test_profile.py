from __future__ import annotations

import pytest

from controller.decision.profile import Profile, ProfileMemory, Step, follow
from controller.decision.vocabulary import Moment, Target

HOUR = 3600.0
STEPS = Profile(
    "Test",
    (
        Step("pitch", 30.0, 30.0, hold_s=HOUR),
        Step("raise", 30.0, 36.0, hold_s=2 * HOUR),
        Step("ferment", 36.0, 36.0, hold_s=10 * HOUR, end_sg=1.015),
        Step("rest", 33.0, 33.0),
    ),
)


def walk(profile: Profile, *at_s: float, gravity_sg: float | None = None) -> list[Target]:
    memory, targets = ProfileMemory(), []
    for mono_s in at_s:
        memory, target, _ = follow(profile, memory, gravity_sg, Moment(mono_s, mono_s))
        assert target is not None
        targets.append(target)
    return targets


def test_it_walks_by_elapsed_time() -> None:
    targets = walk(STEPS, *[h * HOUR for h in (0.0, 0.5, 1.5, 2.0, 3.5, 12.9, 13.0, 99.0)])
    assert [t.step for t in targets] == [1, 1, 2, 2, 3, 3, 4, 4]
    assert [t.low_c for t in targets] == pytest.approx([30, 30, 31.5, 33, 36, 36, 33, 33])
    assert targets[2].slope_k_per_s == pytest.approx(6.0 / (2 * HOUR))
    assert targets[4].slope_k_per_s == 0.0


def test_a_gap_may_jump_over_whole_steps() -> None:
    targets = walk(STEPS, 0.0, 4 * HOUR)
    assert targets[-1].step == 3
    assert targets[-1].step_elapsed_s == pytest.approx(HOUR)


def test_a_gravity_ends_its_step_if_it_comes_first() -> None:
    assert walk(STEPS, 0.0, 4 * HOUR, gravity_sg=1.016)[-1].step == 3
    assert walk(STEPS, 0.0, 4 * HOUR, gravity_sg=1.015)[-1].step == 4


def test_a_step_with_neither_time_nor_gravity_reached_goes_on() -> None:
    waiting = Profile("Wait", (Step("a", 20, 20, end_sg=1.020), Step("b", 25, 25)))
    assert walk(waiting, 0.0, 1e6)[-1].step == 1


def test_the_last_step_holds_for_good_at_its_end() -> None:
    ending = Profile("End", (Step("raise", 20.0, 24.0, hold_s=HOUR, end_sg=1.01),))
    target = walk(ending, 0.0, 5 * HOUR, gravity_sg=1.000)[-1]
    assert (target.low_c, target.slope_k_per_s) == (24.0, 0.0)


def test_a_free_rise_is_a_band() -> None:
    (target,) = walk(Profile("Free", (Step("rise", 30.0, 36.0, free_rise=True),)), 0.0)
    assert (target.low_c, target.high_c) == (30.0, 36.0)
    assert [target.nearest(c) for c in (29.0, 33.0, 37.0)] == [30.0, 33.0, 36.0]


def test_each_change_is_told_once() -> None:
    memory, told = ProfileMemory(), []
    for mono_s in (0.0, 10.0, HOUR, HOUR + 10.0):
        memory, _, news = follow(STEPS, memory, None, Moment(mono_s, mono_s))
        told += [(each.code, each.state) for each in news]
    assert told == [("profile", "begun"), ("step", "changed")]


def test_a_clock_that_does_not_move_or_a_shorter_profile_harms_nothing() -> None:
    memory = ProfileMemory(index=9, elapsed_s=5.0, has_begun=True, last_mono_s=100.0)
    memory, target, news = follow(STEPS, memory, None, Moment(90.0, 0.0))
    assert target is not None
    assert (target.step, memory.elapsed_s, news) == (4, 5.0, ())


def test_without_a_profile_there_is_no_target() -> None:
    assert follow(None, ProfileMemory(index=2), None, Moment(0.0, 0.0)) == (
        ProfileMemory(),
        None,
        (),
    )
