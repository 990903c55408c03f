from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.decision.proportioning import (
    ProportioningMemory,
    ProportioningSettings,
    proportion,
)
from controller.decision.vocabulary import Applied, Moment

SETTINGS = ProportioningSettings()


def dosed(demand: float, hours: float, tick_s: float = 10.0) -> list[Applied]:
    memory, applied, history = ProportioningMemory(), Applied(), []
    for turn in range(round(hours * 3600.0 / tick_s)):
        now = Moment(turn * tick_s, 0.0)
        memory, wanted = proportion(SETTINGS, memory, demand, applied, now)
        applied = Applied(wanted.heat, wanted.fan)
        history.append(applied)
    return history


def runs(history: list[bool]) -> list[int]:
    lengths, before = [], None
    for value in history:
        if value != before:
            lengths.append(0)
        lengths[-1] += 1
        before = value
    return lengths[1:-1]


@pytest.mark.parametrize("demand", [0.02, 0.1, 0.45, 0.5, 0.8, 0.97])
@pytest.mark.parametrize("sign", [1, -1])
def test_on_average_the_demand_is_met(demand: float, sign: int) -> None:
    history = dosed(sign * demand, 120)
    share = sum(a.heat if sign > 0 else a.fan for a in history) / len(history)
    assert share == pytest.approx(demand, abs=0.006)
    assert not any(a.fan if sign > 0 else a.heat for a in history)


def test_full_demand_is_on_all_the_time_and_none_is_off() -> None:
    assert all(a.heat for a in dosed(1.0, 2))
    assert not any(a.heat or a.fan for a in dosed(0.0, 2))


@settings(max_examples=40, deadline=None)
@given(st.floats(0.01, 0.99))
def test_no_run_and_no_rest_is_shorter_than_the_swing(demand: float) -> None:
    lengths = runs([a.heat for a in dosed(demand, 24)])
    assert all(10.0 * length >= SETTINGS.cycle_s / 4.0 - 10.0 for length in lengths)


def test_at_half_demand_a_cycle_is_as_long_as_the_setting_says() -> None:
    lengths = runs([a.heat for a in dosed(0.5, 48)])
    assert 20.0 * sum(lengths) / len(lengths) == pytest.approx(SETTINGS.cycle_s, rel=0.06)


def test_what_was_forbidden_for_hours_is_not_all_made_up_for() -> None:
    memory = ProportioningMemory()
    for turn in range(3600):
        memory, _ = proportion(SETTINGS, memory, 0.5, Applied(), Moment(turn * 10.0, 0.0))
    assert memory.heat_owed_s <= SETTINGS.cycle_s / 4.0


def test_a_gap_is_not_counted() -> None:
    memory, _ = proportion(SETTINGS, ProportioningMemory(), 0.5, Applied(), Moment(0.0, 0.0))
    memory, _ = proportion(SETTINGS, memory, 0.5, Applied(), Moment(5000.0, 0.0))
    assert memory.heat_owed_s == 0.0
