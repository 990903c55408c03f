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


def test_a_reading_that_has_followed_a_pause_is_believed_for_hours() -> None:
    watched = held().run(stillness.STILL_S, heat=cycle).run(1200.0).run(20.0, lambda _: 34.9375)
    watched.found.clear()
    watched.run(9000.0, lambda at_s: 35.0 + 0.0625 * (at_s % 1500.0 < 20.0), heat=cycle)
    assert watched.kinds() == set()
    watched.run(2400.0, heat=cycle)
    assert watched.first_s(Finding.BEER_STILL) is not None


def test_a_reading_that_does_not_follow_the_pause_is_frozen() -> None:
    watched = held().run(stillness.STILL_S + 4000.0, heat=lambda at_s: at_s < 600.0 and cycle(at_s))
    at_s = watched.first_s(Finding.BEER_FROZEN)
    assert at_s is not None and stillness.STILL_S + 600.0 < at_s < 3000.0


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


def test_a_garage_as_warm_as_the_beer_leaves_nothing_to_pause_for() -> None:
    assert held().run(3600.0, garage_c=lambda _: 34.0).kinds() == set()


def test_without_a_garage_probe_it_takes_longer_to_be_sure() -> None:
    def pausing(at_s: float) -> bool:
        return at_s < 600.0 and cycle(at_s)

    seen = held().run(stillness.STILL_S + 6000.0, heat=pausing)
    blind = held().run(stillness.STILL_S + 6000.0, heat=pausing, garage_c=lambda _: None)
    first, later = (each.first_s(Finding.BEER_FROZEN) for each in (seen, blind))
    assert first is not None and later is not None and first < later
