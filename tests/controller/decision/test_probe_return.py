"""When the trip of a fallen probe lets itself go, and above all when it does not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from controller.decision.decide import State
from controller.decision.interlock_terms import InterlockMemory
from controller.decision.probe_return import (
    AWAY_S_MAX,
    BACK_S_MIN,
    CODE,
    Fallen,
    fallen,
    looked_for,
)
from controller.decision.vocabulary import Evidence, Moment, Role, Sensed
from tests.controller.decision.driving import Drive, hold, plan_for

BEFORE = Fallen(before_c=35.0, at_mono_s=1000.0)


def reads(beer_c: float | None, garage_c: float | None = 5.0, change_k: float = 0.0) -> Evidence:
    beer = Sensed(beer_c, 0.0, 0.0, change_k, None, fitted=True)
    return Evidence(beer=beer, garage=Sensed(garage_c, 0.0, fitted=garage_c is not None))


def is_back(evidence: Evidence, after_s: float = 1200.0) -> bool:
    memory, back = looked_for(BEFORE, evidence, Moment(1000.0 + after_s, 0.0))
    assert not back
    _, back = looked_for(memory, evidence, Moment(1000.0 + after_s + BACK_S_MIN, 0.0))
    return back


def test_ten_minutes_of_beer_end_it() -> None:
    assert is_back(reads(34.0))
    assert is_back(reads(35.4))
    assert is_back(reads(34.0, garage_c=None))


@pytest.mark.parametrize(
    "evidence",
    [
        reads(None),
        reads(35.6),
        reads(34.0, change_k=0.8),
        reads(34.0, change_k=-0.8),
        reads(34.0, garage_c=31.5),
        reads(5.0),
        reads(28.0),
    ],
)
def test_what_is_not_the_beer_for_certain_does_not(evidence: Evidence) -> None:
    assert not is_back(evidence)


def test_after_two_hours_nobody_knows_what_the_beer_is() -> None:
    assert not is_back(reads(34.0), after_s=AWAY_S_MAX + 10.0)


def test_one_bad_reading_begins_the_ten_minutes_anew() -> None:
    memory, _ = looked_for(BEFORE, reads(34.0), Moment(2000.0, 0.0))
    memory, _ = looked_for(memory, reads(None), Moment(2300.0, 0.0))
    assert memory.back_mono_s is None
    _, back = looked_for(memory, reads(34.0), Moment(2000.0 + BACK_S_MIN, 0.0))
    assert not back


def test_what_the_beer_was_is_what_it_read_five_minutes_before() -> None:
    assert fallen(reads(31.0, change_k=-4.0), Moment(7.0, 0.0)) == Fallen(35.0, 7.0)
    assert fallen(reads(None), Moment(7.0, 0.0)) is None


def slipped(back_after_s: float) -> Drive:
    """A probe out of its well from hour two on, in a vessel at hold."""
    out_s = 1000.0 + 2 * 3600.0

    def says(role: Role, mono_s: float, value_c: float) -> float:
        if role is not Role.BEER or not out_s <= mono_s < out_s + back_after_s:
            return value_c
        return 5.0 + (value_c - 5.0) * math.exp(-(mono_s - out_s) / 360.0)

    return Drive(plan_for(hold(35.0)), beer_c=34.9, says=says).run(6)


def test_a_probe_put_back_heats_again_by_itself() -> None:
    drive = slipped(20 * 60.0)
    assert drive.codes("tripped") == [CODE]
    assert drive.codes("released") == [CODE]
    assert abs(drive.beers_c[-1] - 35.0) < 0.3


def test_a_probe_left_in_the_garage_never_does() -> None:
    drive = slipped(math.inf)
    assert drive.codes("released") == []
    assert not any(d.command.heat for d in drive.decisions[int(2.2 * 360) :])


def test_after_a_restart_it_stays_until_a_person_releases_it() -> None:
    drive = slipped(math.inf)
    trips = drive.state.interlocks.trips

    again = Drive(drive.plan, beer_c=33.0, mono_s=drive.mono_s)
    again.state = replace(State(), interlocks=InterlockMemory(trips=trips))
    again.run(3)
    assert again.codes("released") == []
    assert not any(d.command.heat for d in again.decisions)
