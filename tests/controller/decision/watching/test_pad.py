"""What the pad's own probe says, and a beer probe that answers like a pad."""

from __future__ import annotations

import math

from controller.decision.vocabulary import Finding
from controller.decision.watching import pad
from tests.controller.decision.watching.test_warmth import cycle, moving
from tests.controller.decision.watching.ticks import Watched

GAP_K, LAG_S = 13.0, 200.0


def warming(at_s: float) -> float:
    return 35.0 + GAP_K * (1.0 - math.exp(-at_s / LAG_S))


def cooling(at_s: float) -> float:
    return 35.0 + GAP_K * math.exp(-at_s / LAG_S)


class Pulsed:
    """A pad that answers to a cycle with a gap of its own."""

    def __init__(self, gap_k: float = GAP_K) -> None:
        self.gap_k, self.share = gap_k, 0.0

    def __call__(self, at_s: float) -> float:
        self.share += (float(cycle(at_s)) - self.share) * 10.0 / LAG_S
        return 35.0 + self.gap_k * self.share


def test_a_pad_that_answers_is_left_alone() -> None:
    watched = Watched().run(600.0, moving(), heat=lambda _: True, pad_c=warming)
    watched.run(600.0, moving(), pad_c=cooling)
    watched.run(7200.0, moving(), heat=cycle, pad_c=Pulsed())
    assert watched.kinds() == set()


def test_a_pad_that_stays_cold_is_found_within_three_minutes() -> None:
    watched = Watched().run(600.0, moving(), heat=lambda _: True, pad_c=lambda _: 34.0)
    at_s = watched.first_s(Finding.PAD_STAYS_COLD)
    assert at_s is not None and at_s <= 180.0


def test_a_pad_that_stays_hot_is_found_within_five_minutes_and_is_not_called_cold() -> None:
    watched = Watched().run(600.0, moving(), heat=lambda _: True, pad_c=warming)
    watched.run(600.0, moving(), pad_c=lambda _: 35.0 + GAP_K)
    at_s = watched.first_s(Finding.PAD_STAYS_HOT)
    assert at_s is not None and at_s <= 300.0
    watched.run(600.0, moving(), heat=lambda _: True, pad_c=lambda _: 35.0 + GAP_K)
    assert Finding.PAD_STAYS_COLD not in watched.kinds()


def test_a_pad_that_dies_during_a_long_run_is_found_by_its_level() -> None:
    watched = Watched().run(1800.0, moving(), heat=lambda _: True, pad_c=warming)
    watched.run(1800.0, moving(), heat=lambda _: True, pad_c=cooling)
    at_s = watched.first_s(Finding.PAD_STAYS_COLD)
    assert at_s is not None and at_s <= 900.0


def test_a_pad_that_warms_while_it_rests_is_found() -> None:
    watched = Watched().run(1800.0, moving(20.0), pad_c=lambda _: 20.0)
    watched.run(600.0, moving(20.0), pad_c=lambda at_s: warming(at_s) - 15.0)
    at_s = watched.first_s(Finding.PAD_STAYS_HOT)
    assert at_s is not None and at_s <= 300.0


def test_a_warm_garage_or_hot_wort_is_no_stuck_pad() -> None:
    watched = Watched().run(1800.0, moving(20.0), pad_c=lambda _: 20.0)
    watched.run(600.0, moving(20.0), pad_c=lambda _: 30.0, garage_c=lambda _: 32.0)
    watched.run(600.0, moving(20.0), pad_c=lambda _: 25.5, garage_c=lambda _: None)
    assert watched.kinds() == set()
    watched.run(600.0, moving(30.0), pad_c=lambda _: 30.0)
    assert Finding.PAD_STAYS_HOT not in watched.kinds()


def test_a_beer_probe_that_answers_like_a_pad_twice_lies_on_it() -> None:
    watched = Watched()
    for _ in range(2):
        watched.run(80.0, lambda at_s: warming(at_s), heat=lambda _: True)
        watched.run(600.0, lambda at_s: cooling(at_s + 400.0))
    assert Finding.BEER_ON_PAD in watched.kinds()


def test_a_beer_probe_moved_once_is_not_on_the_pad() -> None:
    watched = Watched()
    for turn in range(4):
        beer_c = warming if turn == 1 else lambda _: 35.0
        watched.run(80.0, beer_c, heat=lambda _: True)
        watched.run(600.0, moving())
    assert Finding.BEER_ON_PAD not in watched.kinds()


def test_a_pad_that_comes_off_is_found_by_the_gap_once_that_is_known() -> None:
    watched = Watched().run(10_000.0, moving(), heat=cycle, pad_c=Pulsed())
    assert watched.kinds() == set()
    watched.run(3600.0, moving(), heat=cycle, pad_c=Pulsed(45.0))
    at_s = watched.first_s(Finding.PAD_LOOSE)
    assert at_s is not None and at_s <= 1800.0


def test_a_pad_loose_from_the_start_is_what_is_known() -> None:
    assert Watched().run(10_000.0, moving(), heat=cycle, pad_c=Pulsed(45.0)).kinds() == set()


def test_without_a_reading_nothing_is_judged_and_no_step_is_made_of_its_absence() -> None:
    for absent in ("pad_c", "beer_c"):
        watched = Watched()
        for turn in range(40):
            gone = {absent: lambda _: None} if turn % 2 else {}
            told = {"pad_c": lambda _: 48.0, "beer_c": moving()} | gone
            watched.run(60.0, heat=cycle, **told)
        assert watched.kinds() == set(), absent
    assert pad.HALF > pad.QUARTER
