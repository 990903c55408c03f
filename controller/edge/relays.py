"""The two relays: obeys a Command, reads the lines back, and is off whenever in doubt.

Off at birth, off before the other goes on, off before close; a failure while switching turns off
whatever still can be. It decides nothing: only decision/interlocks.py makes a Command.

With an enable line, a timer relay in series with the pad opens when this program no longer says at
every tick that it means heat: hardware/WIRING, section 7.

Active-high is the default because an active-low board is ON for a moment whenever its line is
claimed (the line starts low) and while this computer starts. `active_high = false` is therefore
an override that must stand in the settings file in writing; hardware/WIRING says what else it
takes.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass

from gpiozero import Factory, OutputDevice
from gpiozero.exc import GPIOPinInUse

from controller.bounded import setting
from controller.decision.vocabulary import Applied, Command
from controller.edge.pins import GPIO_MAX, ClaimedPin
from controller.errors import SettingsError, WiringError

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class RelaySettings:
    """Which lines switch the heat pad and the fan.

    Raises:
        SettingsError: both are on the same line.
    """

    heat_gpio: int = setting(
        "GPIO that switches the heat pad; 9 to 27 are pulled low at power-on", low=0, high=GPIO_MAX
    )
    fan_gpio: int | None = setting("GPIO that switches the fan", default=None, low=0, high=GPIO_MAX)
    enable_gpio: int | None = setting(
        "GPIO that changes at every tick while heat is on, for a timer relay in series with it",
        default=None,
        low=0,
        high=GPIO_MAX,
    )
    active_high: bool = setting(
        "whether a high level means on; false makes the relays blink on at start", default=True
    )

    def __post_init__(self) -> None:
        used: dict[int, str] = {}
        for name in ("heat_gpio", "fan_gpio", "enable_gpio"):
            gpio = getattr(self, name)
            if gpio is not None and gpio in used:
                raise SettingsError(
                    f"{used[gpio]} and {name} are both {gpio}.", f"Give {name} a line of its own."
                )
            used[gpio] = name

    def claimed(self) -> tuple[ClaimedPin, ...]:
        """Every line these settings use, as the stop step must know it."""
        relays = [ClaimedPin(gpio, self.active_high) for gpio in (self.heat_gpio, self.fan_gpio)
                  if gpio is not None]  # fmt: skip
        return (*relays, *([ClaimedPin(self.enable_gpio)] if self.enable_gpio is not None else []))


class Relays:
    """The relays of one chamber.

    Args:
        settings: which lines.
        factory: an opened pin factory; also that of the simulated garage.
        heat_starts: how often the heat relay had been switched on before this process.
        fan_starts: the same for the fan.

    Raises:
        WiringError: a line cannot be claimed.
    """

    def __init__(
        self, settings: RelaySettings, factory: Factory, heat_starts: int = 0, fan_starts: int = 0
    ) -> None:
        self._starts = {"heat": heat_starts, "fan": fan_starts}
        self._was_on = {"heat": False, "fan": False}
        self._lines: dict[str, OutputDevice] = {}
        self._enable: OutputDevice | None = None
        for name, gpio in (("heat", settings.heat_gpio), ("fan", settings.fan_gpio)):
            if gpio is not None:
                self._lines[name] = self._claimed(name, gpio, settings.active_high, factory)
        if settings.enable_gpio is not None:
            self._enable = self._claimed("enable", settings.enable_gpio, True, factory)

    def _claimed(self, name: str, gpio: int, active_high: bool, factory: Factory) -> OutputDevice:
        """A line, off; when it cannot be had, those before it are given back."""
        try:
            return OutputDevice(
                gpio, active_high=active_high, initial_value=False, pin_factory=factory
            )
        except Exception as error:  # Why: each pin factory raises errors of its own.
            self.close()
            raise _unclaimed(name, gpio, error) from error

    def apply(self, command: Command) -> Applied:
        """Switch as told: first what goes off, then, if the other is seen to be off, what goes on.

        Never raises for trouble with a line: then everything that can be is off, and the result
        says that the lines do not agree.
        """
        wanted = {"heat": command.heat, "fan": command.fan}
        try:
            self._switch(wanted)
            seen = {name: bool(line.value) for name, line in self._lines.items()}
        except Exception as error:  # Why: each pin factory raises errors of its own.
            _log.error("A relay could not be switched, turning all off: %s", error)
            seen = {}
        if not seen or sum(seen.values()) > 1:
            self.off()
            return self._noted(self._seen_at_best(), agrees=False)
        return self._noted(
            seen, agrees=all(seen.get(name, False) == wanted[name] for name in wanted)
        )

    def off(self) -> None:
        """Turn everything off that can be. May be called at any time, any number of times."""
        for name, line in self._all():
            if line.closed:
                continue
            try:
                line.off()
            except Exception as error:  # Why: the next line must still be turned off.
                _log.error("The %s relay could not be turned off: %s", name, error)

    def close(self) -> None:
        """Off, then give the lines back. The relays cannot be used afterwards."""
        self.off()
        for name, line in self._all():
            try:
                line.close()
            except Exception as error:  # Why: the next line must still be given back.
                _log.error("The line of the %s relay could not be closed: %s", name, error)

    def _switch(self, wanted: dict[str, bool]) -> None:
        for name, line in self._lines.items():
            if not wanted[name]:
                line.off()
        for name, line in self._lines.items():
            if wanted[name] and not self._another_is_on(name):
                line.on()
        if self._enable is not None:
            # Why: the timer relay needs an edge, so a line that only stands high opens it too.
            self._enable.value = wanted["heat"] and not self._enable.value

    def _all(self) -> tuple[tuple[str, OutputDevice], ...]:
        enable = () if self._enable is None else (("enable", self._enable),)
        return (*self._lines.items(), *enable)

    def _another_is_on(self, name: str) -> bool:
        return any(line.value for other, line in self._lines.items() if other != name)

    def _seen_at_best(self) -> dict[str, bool]:
        """What the lines say; one that cannot be read counts as still what it last was."""
        seen = {}
        for name, line in self._lines.items():
            try:
                seen[name] = bool(line.value)
            except Exception:  # Why: each pin factory raises errors of its own.
                seen[name] = self._was_on[name]
        return seen

    def _noted(self, seen: dict[str, bool], agrees: bool) -> Applied:
        for name, is_on in seen.items():
            self._starts[name] += is_on and not self._was_on[name]
            self._was_on[name] = is_on
        return Applied(
            heat=seen.get("heat", False),
            fan=seen.get("fan", False),
            agrees=agrees,
            heat_starts=self._starts["heat"],
            fan_starts=self._starts["fan"],
        )


def _unclaimed(name: str, gpio: int, error: Exception) -> WiringError:
    if isinstance(error, GPIOPinInUse) or "busy" in str(error).lower():
        return WiringError(
            f"GPIO {gpio} for the {name} relay is already in use.",
            "Stop the other program that holds it (`gpioinfo` names it), or choose another line.",
        )
    return WiringError(
        f"GPIO {gpio} for the {name} relay cannot be used ({error}).",
        "Check the relay settings against the wiring.",
    )
