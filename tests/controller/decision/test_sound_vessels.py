"""No sound vessel is ever accused: a trip that cries wolf is switched off by its owner."""

from __future__ import annotations

import os

import pytest

from tests.controller.decision.sound import Life

# Why: of these alarms each would send somebody into a cold garage for nothing.
CALLS = {"heat-falls-short", "fan-without-effect", "pad-loose"}


@pytest.mark.parametrize("seed", range(5))
def test_a_sound_vessel_never_trips(seed: int) -> None:
    life = Life(seed).run(24.0)
    assert life.trips() == [], life.said


@pytest.mark.bench
def test_three_hundred_sound_vessels_never_trip(capsys: pytest.CaptureFixture[str]) -> None:
    count = int(os.environ.get("SOUND_VESSELS", "300"))
    tripped, called, paused_s, days = {}, {}, 0.0, 0.0
    for seed in range(count):
        life = Life(seed).run(36.0)
        days += 1.5
        if life.trips():
            tripped[seed] = (life.trips(), life.said)
        if calls := CALLS & set(life.codes("raised")):
            called[seed] = (sorted(calls), life.visit)
        paused_s += 10.0 * sum("beer-still" in d.permits.vetoes for d in life.decisions)
    with capsys.disabled():
        print(f"\n{count} sound vessels, {days:.0f} days: {len(tripped)} tripped")
        print(f"called for without a fault: {called}; paused {paused_s / days:.0f} s a day")
    assert tripped == {}
