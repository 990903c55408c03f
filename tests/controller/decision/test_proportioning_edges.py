"""The account of each relay, second by second: when it is first on, and how far it may run over."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.decision.proportioning import (
    ProportioningMemory,
    ProportioningSettings,
    proportion,
)
from controller.decision.vocabulary import Applied, Moment
from controller.errors import SettingsError
from controller.settings import parse
from tests.scenarios.garage import SETTINGS

TICK_S = 10.0
QUICK = 1.0  # A vessel whose ripple would be seen at once.


def first_on(demand: float, cycle_s: float, rise_k_per_s: float) -> int:
    """After how many ticks of being off the relay is first wanted."""
    settings, memory = ProportioningSettings(cycle_s), ProportioningMemory()
    for turn in range(10_000):
        now = Moment(turn * TICK_S, 0.0)
        memory, wanted = proportion(settings, memory, demand, rise_k_per_s, Applied(), now)
        if wanted.heat or wanted.fan:
            return turn
    raise AssertionError


@pytest.mark.parametrize(
    ("demand", "cycle_s", "rise_k_per_s", "ticks"),
    [
        (0.125, 240.0, QUICK, 24),  # Half of the least swing, 30 s owed at 1.25 s a tick.
        (0.5, 1024.0, QUICK, 26),  # Half of 1024/4, 128 s owed at 5 s a tick.
        (0.25, 1024.0, QUICK, 39),  # Half of 1024 * 3/16, 96 s at 2.5 s a tick.
        (0.125, 640.0, 0.08 / 128.0, 52),  # Ripple 0.08 K is 128 s; half, 64 s at 1.25 s a tick.
        (0.125, 640.0, 0.0001, 64),  # A slow vessel: never more than a quarter of the cycle.
        (-0.125, 240.0, QUICK, 48),  # The fan's least swing: half of 120 s.
        (-0.125, 1024.0, QUICK, 103),  # Half of a quarter of the cycle.
    ],
)
def test_the_first_run_comes_when_half_a_swing_is_owed(
    demand: float, cycle_s: float, rise_k_per_s: float, ticks: int
) -> None:
    assert first_on(demand, cycle_s, rise_k_per_s) == ticks


def stepped(memory: ProportioningMemory, demand: float, applied: Applied, dt_s: float):
    assert memory.last_mono_s is not None
    now = Moment(memory.last_mono_s + dt_s, 0.0)
    return proportion(ProportioningSettings(1024.0), memory, demand, QUICK, applied, now)


@pytest.mark.parametrize(
    ("dt_s", "owed_s"), [(60.0, 30.0), (60.1, 0.0), (0.0, 0.0), (-5.0, 0.0), (1.0, 0.5)]
)
def test_what_is_owed_grows_with_the_time_that_is_known(dt_s: float, owed_s: float) -> None:
    memory, _ = stepped(ProportioningMemory(last_mono_s=100.0), 0.5, Applied(), dt_s)
    assert memory.heat_owed_s == pytest.approx(owed_s)
    memory, _ = stepped(ProportioningMemory(last_mono_s=100.0), -0.5, Applied(), dt_s)
    assert memory.fan_owed_s == pytest.approx(owed_s)
    assert memory.heat_owed_s == 0.0


def test_a_run_pays_off_and_ends_when_half_a_swing_is_overpaid() -> None:
    memory, on = ProportioningMemory(last_mono_s=0.0), Applied(heat=True)
    for _ in range(25):
        memory, wanted = stepped(memory, 0.5, on, TICK_S)
        assert wanted.heat
    memory, wanted = stepped(memory, 0.5, on, TICK_S)
    assert memory.heat_owed_s == pytest.approx(-130.0)
    assert not wanted.heat


def test_no_more_than_a_swing_is_ever_owed_or_overpaid() -> None:
    memory = ProportioningMemory(last_mono_s=0.0)
    for _ in range(200):
        memory, _ = stepped(memory, 0.5, Applied(), TICK_S)
    assert memory.heat_owed_s == pytest.approx(256.0)
    for _ in range(400):
        memory, _ = stepped(memory, 0.5, Applied(heat=True), TICK_S)
    assert memory.heat_owed_s == pytest.approx(-256.0)


def test_an_hour_in_full_earns_a_rest_of_half_a_swing_and_no_more() -> None:
    memory, on = ProportioningMemory(last_mono_s=0.0), Applied(heat=True)
    memory, wanted = stepped(memory, 1.0, on, TICK_S)
    assert memory.heat_owed_s == pytest.approx(-0.2)
    for _ in range(1000):
        memory, wanted = stepped(memory, 1.0, on, TICK_S)
        assert wanted.heat
    assert memory.heat_owed_s == pytest.approx(-128.0)
    memory, _ = stepped(ProportioningMemory(last_mono_s=0.0), 1.0, Applied(), TICK_S)
    assert memory.heat_owed_s == pytest.approx(10.0)


def test_without_demand_a_running_relay_ends_at_once() -> None:
    memory = ProportioningMemory(100.0, 100.0, 0.0)
    for applied in (Applied(heat=True), Applied(fan=True)):
        _, wanted = stepped(memory, 0.0, applied, TICK_S)
        assert (wanted.heat, wanted.fan) == (False, False)


def test_at_exactly_half_a_swing_it_turns() -> None:
    _, wanted = stepped(ProportioningMemory(128.0, 0.0, 0.0), 0.5, Applied(), 0.0)
    assert wanted.heat
    _, wanted = stepped(ProportioningMemory(127.9, 0.0, 0.0), 0.5, Applied(), 0.0)
    assert not wanted.heat
    _, wanted = stepped(ProportioningMemory(-128.0, 0.0, 0.0), 0.5, Applied(heat=True), 0.0)
    assert not wanted.heat


def test_the_first_tick_owes_nothing() -> None:
    now = Moment(5.0, 0.0)
    memory, wanted = proportion(
        ProportioningSettings(), ProportioningMemory(), 0.9, QUICK, Applied(), now
    )
    assert memory == ProportioningMemory(0.0, 0.0, 5.0)
    assert not wanted.heat


@pytest.mark.parametrize("cycle_s", [240, 1800])
def test_a_cycle_may_be_as_long_as_this(cycle_s: int) -> None:
    text = SETTINGS.format(target_c=35.0) + f"[dosing]\ncycle_s = {cycle_s}\n"
    assert parse(text, Path()).dosing.cycle_s == cycle_s


@pytest.mark.parametrize("cycle_s", [239, 1801])
def test_and_not_shorter_or_longer(cycle_s: int) -> None:
    with pytest.raises(SettingsError, match="cycle_s"):
        parse(SETTINGS.format(target_c=35.0) + f"[dosing]\ncycle_s = {cycle_s}\n", Path())


def test_eleven_minutes_unless_told() -> None:
    assert ProportioningSettings().cycle_s == 660.0
