"""A reading that stands still is made to show that it lives."""

from __future__ import annotations

from controller.decision.vocabulary import Finding
from controller.decision.watching import balance, stillness
from tests.controller.decision.watching.test_warmth import cycle, moving
from tests.controller.decision.watching.ticks import Watched


def held(duty_on_s: float = 300.0) -> Watched:
    return Watched().run(
        balance.KNOWN_S + 1800.0, moving(), heat=lambda at_s: at_s % 600.0 <= duty_on_s
    )


def test_after_ten_minutes_without_a_step_the_heat_pauses_and_one_step_ends_it() -> None:
    watched = held()
    watched.run(stillness.STILL_S - 20.0, heat=cycle)
    assert watched.kinds() == set()
    watched.run(60.0)
    assert watched.kinds() == {Finding.BEER_STILL}
    watched.run(20.0, lambda _: 35.0625)
    watched.found.clear()
    watched.run(300.0, moving())
    assert watched.kinds() == set()


def test_a_reading_that_does_not_follow_the_pause_is_frozen() -> None:
    watched = held().run(stillness.STILL_S + 3000.0, heat=lambda at_s: at_s < 600.0 and cycle(at_s))
    at_s = watched.first_s(Finding.BEER_FROZEN)
    assert at_s is not None and stillness.STILL_S + 600.0 < at_s < 2400.0


def test_a_warm_up_that_does_not_show_is_a_frozen_reading_too() -> None:
    watched = Watched().run(2700.0, lambda _: 12.0, heat=lambda _: True)
    at_s = watched.first_s(Finding.BEER_FROZEN)
    assert at_s is not None and stillness.STILL_S < at_s < 2400.0


def test_a_steady_beer_that_its_ferment_warms_is_no_wonder() -> None:
    assert held(30.0).run(7200.0).kinds() == set()


def test_before_the_vessel_is_known_nothing_pauses() -> None:
    assert Watched().run(stillness.STILL_S + 600.0, heat=cycle).kinds() == set()


def test_a_lost_reading_stands_for_nothing() -> None:
    assert held().run(3600.0, lambda _: None).kinds() == set()
