"""The relays on gpiozero's own mock factory, whose pins remember every level they had."""

import pytest
from gpiozero.pins.mock import MockFactory, MockPin
from hypothesis import given
from hypothesis import strategies as st

from controller.decision.vocabulary import ALL_OFF, Applied, Command
from controller.edge.relays import Relays, RelaySettings
from controller.errors import SettingsError, WiringError

HEAT, FAN = Command(heat=True), Command(fan=True)
BOTH_FITTED = RelaySettings(heat_gpio=17, fan_gpio=27)


@pytest.fixture
def factory():
    made = MockFactory()
    yield made
    made.reset()


def levels(factory, gpio):
    return [state.state for state in factory.pin(gpio).states]


def test_nothing_is_on_at_birth_not_even_for_a_moment(factory):
    relays = Relays(BOTH_FITTED, factory)
    assert levels(factory, 17) == [False] and levels(factory, 27) == [False]
    assert factory.pin(17).function == factory.pin(27).function == "output"
    relays.close()


def test_an_active_low_relay_blinks_on_at_birth_which_is_why_it_is_an_override(factory):
    """Documents the hazard of the module's text: low (on) first, then high (off)."""
    relays = Relays(RelaySettings(heat_gpio=17, active_high=False), factory)
    assert levels(factory, 17) == [False, True]
    assert RelaySettings(heat_gpio=17).active_high
    relays.close()


def test_it_obeys_and_reads_back(factory):
    relays = Relays(BOTH_FITTED, factory)
    assert relays.apply(HEAT) == Applied(heat=True, heat_starts=1)
    assert factory.pin(17).state and not factory.pin(27).state
    assert relays.apply(FAN) == Applied(fan=True, heat_starts=1, fan_starts=1)
    assert relays.apply(ALL_OFF) == Applied(heat_starts=1, fan_starts=1)


def test_an_active_low_relay_is_on_when_its_line_is_low(factory):
    relays = Relays(RelaySettings(heat_gpio=17, active_high=False), factory)
    assert relays.apply(HEAT).heat and not factory.pin(17).state
    assert not relays.apply(ALL_OFF).heat and factory.pin(17).state


def test_starts_go_on_counting_from_the_journal(factory):
    relays = Relays(BOTH_FITTED, factory, heat_starts=1000, fan_starts=7)
    for command in (HEAT, HEAT, ALL_OFF, HEAT, FAN, FAN):
        applied = relays.apply(command)
    assert (applied.heat_starts, applied.fan_starts) == (1002, 8)


def test_one_goes_off_before_the_other_goes_on(factory, monkeypatch):
    relays, order = Relays(BOTH_FITTED, factory), []
    real = MockPin._set_state
    monkeypatch.setattr(
        MockPin,
        "_set_state",
        lambda pin, value: order.append((pin.info.name, value)) or real(pin, value),
    )
    monkeypatch.setattr(MockPin, "state", property(MockPin._get_state, MockPin._set_state))
    relays.apply(HEAT)
    relays.apply(FAN)
    assert order[-2:] == [("GPIO17", False), ("GPIO27", True)]


@given(st.lists(st.sampled_from((ALL_OFF, HEAT, FAN)), max_size=40))
def test_the_two_are_never_on_together(commands):
    factory = MockFactory()
    relays = Relays(BOTH_FITTED, factory)
    for command in commands:
        applied = relays.apply(command)
        assert (applied.heat, applied.fan) == (command.heat, command.fan)
        assert not (factory.pin(17).state and factory.pin(27).state)
    factory.reset()


def test_a_line_that_was_flipped_from_outside_is_put_right_by_the_next_command(factory):
    relays = Relays(BOTH_FITTED, factory)
    factory.pin(17)._state = True  # Another program wrote to the line.
    assert relays.apply(ALL_OFF) == Applied()


class StuckPin(MockPin):
    """A line that reads high whatever is written to it."""

    def _get_state(self):
        return self._function == "output"


def test_a_line_that_does_not_follow_is_told_and_the_other_is_not_switched_on():
    factory = MockFactory()
    factory.pin(27, pin_class=StuckPin)
    relays = Relays(BOTH_FITTED, factory)
    assert relays.apply(ALL_OFF) == Applied(fan=True, agrees=False, fan_starts=1)
    applied = relays.apply(HEAT)
    assert (applied.heat, applied.fan, applied.agrees) == (False, True, False)
    assert not factory.pin(17).state
    factory.reset()


def test_trouble_while_switching_turns_off_what_can_be(factory, monkeypatch):
    relays = Relays(BOTH_FITTED, factory)
    relays.apply(HEAT)
    fan = relays._lines["fan"]

    def fails():
        raise OSError("the chip is gone")

    monkeypatch.setattr(type(fan), "off", lambda line: fails() if line is fan else line._write(0))
    applied = relays.apply(HEAT)
    assert applied == Applied(agrees=False, heat_starts=1)
    assert not factory.pin(17).state


def test_a_line_that_cannot_even_be_read_is_not_called_off(factory, monkeypatch):
    relays = Relays(RelaySettings(heat_gpio=17), factory)
    relays.apply(HEAT)

    def fails(*_):
        raise OSError("the chip is gone")

    monkeypatch.setattr(MockPin, "state", property(fails, fails))
    assert relays.apply(ALL_OFF) == Applied(heat=True, agrees=False, heat_starts=1)


def test_a_fan_that_is_not_fitted_cannot_be_switched_on(factory):
    relays = Relays(RelaySettings(heat_gpio=17), factory)
    assert relays.apply(HEAT) == Applied(heat=True, heat_starts=1)
    assert relays.apply(FAN) == Applied(agrees=False, heat_starts=1)


def test_off_may_be_said_at_any_time_and_again(factory):
    relays = Relays(BOTH_FITTED, factory)
    relays.apply(HEAT)
    relays.off()
    relays.off()
    assert not factory.pin(17).state


def test_close_is_off_first(factory):
    """A closed line keeps its level here as on many kernels: so off must come before."""
    relays = Relays(BOTH_FITTED, factory)
    relays.apply(HEAT)
    pin = factory.pin(17)
    relays.close()
    relays.close()
    relays.off()
    assert [state.state for state in pin.states] == [False, True, False]
    assert pin.function == "input"


def test_after_close_nothing_is_switched_on(factory):
    relays = Relays(BOTH_FITTED, factory)
    relays.close()
    assert relays.apply(HEAT) == Applied(agrees=False)


def test_a_line_claimed_twice_names_the_remedy(factory):
    first = Relays(BOTH_FITTED, factory)
    with pytest.raises(WiringError, match=r"GPIO 27 for the heat relay is already in use.*Stop"):
        Relays(RelaySettings(heat_gpio=27), factory)
    assert first.apply(FAN).fan


def test_a_second_line_that_cannot_be_claimed_leaves_the_first_off_and_free(factory):
    other = Relays(RelaySettings(heat_gpio=27), factory)
    with pytest.raises(WiringError):
        Relays(BOTH_FITTED, factory)
    other.close()
    Relays(BOTH_FITTED, factory)


def test_a_line_the_board_does_not_have_names_the_remedy(factory):
    with pytest.raises(WiringError, match="Check the relay settings"):
        Relays(RelaySettings(heat_gpio=99), factory)


def test_both_relays_on_one_line_is_an_error_of_the_settings():
    with pytest.raises(SettingsError, match=r"both 17.*a line of its own"):
        RelaySettings(heat_gpio=17, fan_gpio=17)
