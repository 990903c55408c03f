from __future__ import annotations

import math

import pytest

from controller.decision.plausibility import AGE_S_MAX, PlausibilityMemory, sense
from controller.decision.vocabulary import Evidence, Fault, Moment, Reading, Role


class Sensing:
    """Feeds one role every ten seconds."""

    def __init__(self, role: Role = Role.BEER) -> None:
        self.role, self.memory, self.mono_s = role, PlausibilityMemory(), 0.0

    def says(self, *values: float | Fault, every_s: float = 10.0) -> Evidence:
        for said in values:
            self.mono_s += every_s
            fault = said if isinstance(said, Fault) else None
            value_c = None if isinstance(said, Fault) else said
            reading = Reading(self.role, self.mono_s, value_c, fault)
            now = Moment(self.mono_s, self.mono_s)
            self.memory, evidence = sense(self.memory, (reading,), now)
        return evidence


def test_three_good_readings_are_believed_and_two_are_not() -> None:
    sensing = Sensing()
    doubted = sensing.says(20.0, 20.1).beer
    assert doubted.value_c is None
    assert doubted.fault is Fault.UNPROVEN
    assert sensing.says(20.0).beer.value_c == 20.0


def test_three_readings_that_contradict_each_other_prove_nothing() -> None:
    assert Sensing().says(20.0, 30.0, 20.0, 30.0, 20.0).beer.value_c is None


def test_a_value_is_carried_for_a_minute_and_no_longer() -> None:
    sensing = Sensing()
    sensing.says(20.0, 20.0, 20.0)
    carried = sensing.says(*[Fault.MISSING] * 6).beer
    assert (carried.value_c, carried.age_s, carried.fault) == (20.0, AGE_S_MAX, Fault.MISSING)
    assert sensing.says(Fault.MISSING).beer.value_c is None


@pytest.mark.parametrize(
    ("role", "value_c"),
    [
        (Role.BEER, 60.5),
        (Role.BEER, -20.5),
        (Role.BEER, math.nan),
        (Role.BEER, math.inf),
        (Role.BEER, -109.9375),
        (Role.PAD, 110.5),
        (Role.GARAGE, -41.0),
    ],
)
def test_what_cannot_be_is_refused(role: Role, value_c: float) -> None:
    sensing = Sensing(role)
    sensed = sensing.says(value_c, value_c, value_c, value_c).of(role)
    assert (sensed.value_c, sensed.fault) == (None, Fault.OUT_OF_RANGE)


def test_a_jump_is_doubted_until_seen_three_times() -> None:
    sensing = Sensing()
    sensing.says(20.0, 20.0, 20.0)
    jumped = sensing.says(25.0).beer
    assert (jumped.value_c, jumped.fault) == (20.0, Fault.JUMPED)
    assert sensing.says(20.1).beer.value_c == 20.1
    assert sensing.says(25.0, 25.1, 25.0).beer.value_c == 25.0


def test_a_steady_rise_gives_its_slope() -> None:
    sensing = Sensing()
    evidence = sensing.says(*[20.0 + 2.0 * i / 360.0 for i in range(90)])
    assert evidence.beer.slope_k_per_s is not None
    assert evidence.beer.slope_k_per_s * 3600.0 == pytest.approx(2.0)
    assert evidence.beer.change_k == pytest.approx(2.0 * 290.0 / 3600.0, abs=0.02)


def test_a_role_without_a_probe_is_not_fitted_and_forgets() -> None:
    sensing = Sensing()
    sensing.says(20.0, 20.0, 20.0)
    sensing.memory, evidence = sense(sensing.memory, (), Moment(40.0, 40.0))
    assert not evidence.beer.fitted
    assert sensing.says(20.0).beer.value_c is None


def test_a_trend_does_not_bridge_an_outage() -> None:
    sensing = Sensing()
    sensing.says(*[20.0] * 60)
    sensing.says(*[Fault.MISSING] * 12)
    assert sensing.says(20.0, 20.0, 20.0, 20.0).beer.slope_k_per_s is None


def test_a_probe_read_rarely_keeps_no_trend() -> None:
    sensing = Sensing()
    sensing.says(20.0, 20.0, 20.0)
    assert sensing.says(20.0, 20.0, every_s=58.0).beer.slope_k_per_s is None
