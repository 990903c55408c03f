from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.decision.proportioning import (
    HEAT_SWING_S_MIN,
    ProportioningMemory,
    ProportioningSettings,
    proportion,
)
from controller.decision.vocabulary import Applied, Moment

SETTINGS = ProportioningSettings()
RISE_K_PER_S = 7e-4


def dosed(demand: float, hours: float, rise_k_per_s: float = RISE_K_PER_S) -> list[Applied]:
    tick_s = 10.0
    memory, applied, history = ProportioningMemory(), Applied(), []
    for turn in range(round(hours * 3600.0 / tick_s)):
        now = Moment(turn * tick_s, 0.0)
        memory, wanted = proportion(SETTINGS, memory, demand, rise_k_per_s, applied, now)
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
def test_no_run_and_no_rest_is_shorter_than_the_least_swing(demand: float) -> None:
    lengths = runs([a.heat for a in dosed(demand, 24)])
    assert all(10.0 * length >= HEAT_SWING_S_MIN - 10.0 for length in lengths)


def test_at_half_demand_a_cycle_is_as_long_as_the_setting_says() -> None:
    lengths = runs([a.heat for a in dosed(0.5, 48)])
    assert 20.0 * sum(lengths) / len(lengths) == pytest.approx(SETTINGS.cycle_s, rel=0.06)


def test_what_was_forbidden_for_hours_is_not_all_made_up_for() -> None:
    memory = ProportioningMemory()
    for turn in range(3600):
        memory, _ = proportion(
            SETTINGS, memory, 0.5, RISE_K_PER_S, Applied(), Moment(turn * 10.0, 0.0)
        )
    assert memory.heat_owed_s <= SETTINGS.cycle_s / 4.0


def test_a_gap_is_not_counted() -> None:
    memory = ProportioningMemory()
    for mono_s in (0.0, 5000.0):
        now = Moment(mono_s, 0.0)
        memory, _ = proportion(SETTINGS, memory, 0.5, RISE_K_PER_S, Applied(), now)
    assert memory.heat_owed_s == 0.0


def test_a_slow_vessel_spares_its_relay_and_a_quick_one_is_dosed_finely() -> None:
    slow = len(runs([a.heat for a in dosed(0.1, 48, rise_k_per_s=7e-4)]))
    quick = len(runs([a.heat for a in dosed(0.1, 48, rise_k_per_s=2.5e-3)]))
    assert slow < 0.75 * quick
    assert quick <= 12 * 48


def test_after_a_long_run_in_full_it_rests_first() -> None:
    memory, on = ProportioningMemory(), Applied(heat=True)
    for turn in range(1, 1000):
        now = Moment(turn * 10.0, 0.0)
        memory, wanted = proportion(SETTINGS, memory, 1.0, RISE_K_PER_S, on, now)
        assert wanted.heat
    _, wanted = proportion(SETTINGS, memory, 0.45, RISE_K_PER_S, on, Moment(10_000.0, 0.0))
    assert not wanted.heat
