"""The enable line: a timer relay in series opens when nobody says any more that heat is meant."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from gpiozero.pins.mock import MockFactory

from controller.decision.vocabulary import ALL_OFF, Command
from controller.edge.pins import ClaimedPin
from controller.edge.relays import Relays, RelaySettings
from controller.errors import SettingsError, WiringError
from controller.settings import ChamberSettings

HEAT, FAN = Command(heat=True), Command(fan=True)
SETTINGS = RelaySettings(heat_gpio=17, fan_gpio=27, enable_gpio=22)
TIMER_S = 60.0  # Source: hardware/WIRING.md, section 7.


@pytest.fixture
def factory() -> Iterator[MockFactory]:
    made = MockFactory()
    yield made
    made.reset()


def level(factory: MockFactory) -> bool:
    return bool(factory.pin(22).state)


def test_it_changes_at_every_tick_while_heat_is_on_and_rests_low(factory: MockFactory) -> None:
    relays = Relays(SETTINGS, factory)
    seen = []
    for command in (ALL_OFF, HEAT, HEAT, HEAT, ALL_OFF, FAN, FAN, HEAT):
        relays.apply(command)
        seen.append(level(factory))
    assert seen == [False, True, False, True, False, False, False, True]
    relays.close()
    assert not level(factory)


def test_the_slowest_tick_gives_its_edge_before_the_timer_runs_out() -> None:
    slowest_s = ChamberSettings.__dataclass_fields__["tick_s"].metadata["setting"]["high"]
    assert 2 * slowest_s + 15.0 <= TIMER_S


def test_it_counts_neither_as_heat_nor_as_fan(factory: MockFactory) -> None:
    relays = Relays(SETTINGS, factory)
    applied = relays.apply(HEAT)
    assert (applied.heat, applied.fan, applied.agrees) == (True, False, True)
    applied = relays.apply(FAN)
    assert (applied.heat, applied.fan, applied.agrees) == (False, True, True)
    relays.close()


def test_trouble_with_a_relay_rests_it_low(factory: MockFactory) -> None:
    relays = Relays(SETTINGS, factory)
    relays.apply(HEAT)
    assert level(factory)
    relays._lines["heat"].close()
    assert not relays.apply(HEAT).agrees
    assert not level(factory)
    relays.close()


def test_the_stop_step_knows_it_and_it_is_active_high_whatever_the_relays_are() -> None:
    low = RelaySettings(heat_gpio=17, enable_gpio=22, active_high=False)
    assert low.claimed() == (ClaimedPin(17, False), ClaimedPin(22, True))


@pytest.mark.parametrize(("fan", "enable"), [(27, 17), (27, 27), (None, 17)])
def test_it_has_a_line_of_its_own(fan: int | None, enable: int) -> None:
    with pytest.raises(SettingsError, match="a line of its own"):
        RelaySettings(heat_gpio=17, fan_gpio=fan, enable_gpio=enable)


def test_when_it_cannot_be_had_the_others_are_given_back(factory: MockFactory) -> None:
    held = Relays(RelaySettings(heat_gpio=22), factory)
    with pytest.raises(WiringError, match="enable relay is already in use"):
        Relays(SETTINGS, factory)
    again = Relays(RelaySettings(heat_gpio=17, fan_gpio=27), factory)
    again.close()
    held.close()
