"""The beer's trend against the least and the most of a sound vessel, and against its balance."""

from __future__ import annotations

import pytest

from controller.decision.vocabulary import Finding
from controller.decision.watching import balance, warmth
from tests.controller.decision.watching.ticks import K_PER_H, VESSEL, Watched

FULL = 3600.0 * VESSEL.rise_k_per_s * K_PER_H


def cycle(at_s: float) -> bool:
    return at_s % 600.0 <= 300.0


def moving(start_c: float = 35.0):
    """A reading that never stands still: it flickers by a step."""
    return lambda at_s: start_c + 0.0625 * (at_s % 20.0 == 0.0)


def test_a_pad_that_gives_nothing_is_found_at_the_second_look() -> None:
    watched = Watched().run(3600.0, moving(12.0), heat=lambda _: True)
    at_s = watched.first_s(Finding.HEAT_WITHOUT_EFFECT)
    assert at_s is not None and 1200.0 < at_s < 3600.0
    assert watched.kinds() == {Finding.HEAT_WITHOUT_EFFECT}


def test_one_fall_is_one_look_for_as_long_as_the_trend_remembers_it() -> None:
    """A litre and a half of cold water falls 2 K in a minute, and the trend tells it for ten."""
    shortfall, found = warmth.Shortfall(), []
    for turn in range(120):
        behind_k = 2.0 * VESSEL.rise_k_per_s * 10.0 if turn < 60 else -VESSEL.rise_k_per_s * 10.0
        shortfall, seen = warmth._too_cold(shortfall, behind_k, 10.0 * turn)
        found += seen
    assert found == []
    assert shortfall.suspected_mono_s is not None


def test_a_second_look_hours_later_is_a_first_one() -> None:
    watched = Watched()
    for _ in range(4):
        watched.run(1200.0, moving(12.0), heat=lambda _: True)
        watched.run(7800.0, moving(12.0), lambda _: FULL / 2.0, heat=lambda _: True)
    assert Finding.HEAT_WITHOUT_EFFECT not in watched.kinds()


def test_a_warm_up_as_it_must_be_finds_nothing() -> None:
    watched = Watched().run(7200.0, moving(12.0), lambda _: 0.8 * FULL, heat=lambda _: True)
    assert watched.kinds() == set()


def test_a_beer_that_warms_with_the_pad_off_is_found() -> None:
    watched = Watched().run(3600.0, moving(), lambda _: 1.4 * K_PER_H)
    at_s = watched.first_s(Finding.HEAT_WHILE_OFF)
    assert at_s is not None and at_s < 1000.0
    assert Finding.RISE_TOO_FAST not in watched.kinds()


def test_where_the_balance_of_the_vessel_agrees_less_is_enough() -> None:
    slope = 1.0 * K_PER_H
    plain = Watched().run(3600.0, moving(), lambda _: slope).first_s(Finding.HEAT_WHILE_OFF)
    known = Watched().run(balance.KNOWN_S + 3600.0, moving(), heat=cycle)
    known.run(900.0, moving(), lambda _: -1.0 * K_PER_H)
    known.run(3600.0, moving(), lambda _: slope)
    agreed = known.first_s(Finding.HEAT_WHILE_OFF)
    assert plain is not None and agreed is not None and agreed < 0.8 * plain


def test_a_hasty_rise_is_believed_after_some_minutes_and_a_step_is_not() -> None:
    hasty = Watched().run(1800.0, moving(), lambda _: 10.0 * FULL, heat=lambda _: True)
    at_s = hasty.first_s(Finding.RISE_TOO_FAST)
    assert at_s is not None and 120.0 < at_s < 600.0
    step = Watched().run(1800.0, moving(), lambda s: 6.0 * FULL * (s < 150.0), heat=lambda _: True)
    assert step.kinds() == set()


@pytest.mark.parametrize(("at_once_k", "finding"), [(-3.1, "FALL_TOO_FAST"), (3.1, "BEER_LEAPT")])
def test_what_no_beer_can_do_at_once_or_in_five_minutes(at_once_k: float, finding: str) -> None:
    watched = Watched().run(60.0).run(60.0, moving(35.0 + at_once_k))
    assert watched.kinds() == {Finding[finding]}
    watched = Watched().run(60.0).run(60.0, change_k=lambda _: at_once_k)
    assert watched.kinds() == {Finding[finding]}
    assert Watched().run(60.0).run(60.0, moving(35.0 + 0.9 * at_once_k)).kinds() == set()
    assert Watched().run(60.0).run(30.0, lambda _: None).run(60.0, moving(31.0)).kinds() == set()


def test_after_a_leap_the_heat_waits_ten_minutes_and_half_an_hour_is_not_judged() -> None:
    watched = Watched().run(60.0).run(warmth.SHADOW_S, moving(40.0), lambda _: 5.0 * FULL)
    leaps = [at_s for at_s, each in watched.found if each is Finding.BEER_LEAPT]
    assert (leaps[0], leaps[-1]) == (10.0, warmth.LEAP_S)
    assert watched.kinds() == {Finding.BEER_LEAPT}
    lost = Watched().run(60.0).run(10.0, moving(40.0)).run(60.0, lambda _: None)
    assert [at_s for at_s, _ in lost.found] == [10.0]


def test_a_fan_that_does_not_cool_is_told_and_not_taken_for_a_pad_stuck_on() -> None:
    watched = Watched().run(7200.0, moving(25.0), lambda _: 0.5 * K_PER_H, fan=lambda _: True)
    at_s = watched.first_s(Finding.FAN_WITHOUT_EFFECT)
    assert at_s is not None and at_s > warmth.FAN_PROOF_S
    assert watched.kinds() == {Finding.FAN_WITHOUT_EFFECT}
    cooled = Watched().run(7200.0, moving(25.0), lambda _: -1.0 * K_PER_H, fan=lambda _: True)
    assert cooled.kinds() == set()


def test_a_pad_that_no_longer_suffices_is_told_from_the_balance() -> None:
    watched = Watched().run(balance.KNOWN_S, moving(), heat=cycle)
    watched.run(3600.0, moving(), lambda _: -1.1 * K_PER_H, heat=cycle)
    at_s = watched.first_s(Finding.HEAT_FALLS_SHORT)
    assert at_s is not None and 900.0 < at_s < 2400.0
    watched.found.clear()
    watched.run(7200.0, moving(), lambda _: 1.0 * K_PER_H, heat=cycle)
    assert watched.found == [] or watched.found[-1][0] < 3600.0


def test_a_balance_is_not_learned_while_the_fan_has_a_say() -> None:
    watched = Watched().run(balance.KNOWN_S, moving(), fan=lambda _: True)
    assert watched.memory.warmth.balance.known_s == 0.0
    watched.run(balance.KNOWN_S + warmth.SHADOW_S, moving(), heat=cycle)
    known = watched.memory.warmth.balance
    assert known.known_s >= balance.KNOWN_S
    assert known.loss_w == pytest.approx(30.0, abs=4.0)
    assert known.gap_k == pytest.approx(30.0, abs=0.1)


def test_a_garage_that_turns_warm_or_is_not_measured_changes_what_is_expected() -> None:
    watched = Watched().run(balance.KNOWN_S, moving(), heat=cycle)
    warmer = {"garage_c": lambda _: 25.0}
    watched.run(5400.0, moving(), lambda _: 0.7 * K_PER_H, heat=cycle, **warmer)
    assert watched.kinds() == set()
    watched.run(60.0, moving(), heat=cycle, garage_c=lambda _: None)
    assert watched.memory.warmth.balance.gap_k is None


def test_a_gap_forgets_what_was_summed_and_keeps_what_lasts() -> None:
    watched = Watched().run(60.0, fan=lambda _: True).run(600.0, moving(), heat=lambda _: True)
    watched.now_s += 61.0
    watched.run(10.0, moving())
    memory = watched.memory.warmth
    assert memory.seen.duty_lagged == 0.0
    assert memory.seen.fan_mono_s == 60.0
    assert watched.memory.last_mono_s == watched.now_s


def test_without_a_trend_nothing_is_said() -> None:
    assert Watched().run(7200.0, moving(12.0), lambda _: None, lambda _: True).kinds() == set()
    assert Watched().run(7200.0, lambda _: None, heat=lambda _: True).kinds() == set()
