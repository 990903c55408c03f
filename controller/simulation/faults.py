"""What goes wrong in a simulation, and when: a table of faults and a short way of writing them.

    beer-missing@30h+20min     the beer probe is gone from hour 30 for twenty minutes
    beer-offset=0.8@2d         from day 2 on it reads 0.8 K too high
    jacket-open@18h+45min      the loss is three times what it was

Pure: it turns text into planned faults, and planned faults and an age into what is wrong then.
`world.py` applies it to the plant, the pins, the bus and the clock. It breaks nothing itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from math import inf

from controller.decision.vocabulary import Relay, Role
from controller.errors import SettingsError
from controller.simulation.onewire import BusFault
from controller.simulation.pins import PinFault
from controller.simulation.plant import Disturbance, ProbeSeat

_WRITTEN = re.compile(
    r"(?P<word>[a-z]+(?:-[a-z]+)*)(?:=(?P<value>[+-]?\d+(?:\.\d+)?))?"
    r"@(?P<start>\d+(?:\.\d+)?[a-z]+)(?:\+(?P<length>\d+(?:\.\d+)?[a-z]+))?"
)
_EXAMPLE = "Write it like beer-missing@30h+20min; leave out +20min for a fault that stays."
_UNITS_S = {"s": 1.0, "min": 60.0, "h": 3_600.0, "d": 86_400.0}  # Why: definitions.


@dataclass(slots=True)
class Trouble:
    """Everything that is wrong at one time."""

    plant: Disturbance = field(default_factory=Disturbance)
    pins: dict[Relay, PinFault] = field(default_factory=dict)
    bus: dict[Role, BusFault] = field(default_factory=dict)
    drift_k: dict[Role, float] = field(default_factory=dict)
    forced_c: dict[Role, float] = field(default_factory=dict)
    exchanged: bool = False
    clock_step_s: float = 0.0
    clock_synced: bool = True


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One row of the table: a word, what it means, and what it does to the trouble of a time.

    `value` is the value meant when none is written, None when the word takes none; `low` and
    `high` bound it, in `unit`.
    """

    word: str
    meaning: str
    strike: Callable[[Trouble, float], None]
    value: float | None = None
    unit: str = ""
    low: float = -inf
    high: float = inf


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """A fault with its times, in seconds from the start of the simulation."""

    kind: FaultKind
    value: float
    from_s: float
    to_s: float = inf


def _in_plant(**changes: object) -> Callable[[Trouble, float], None]:
    """A strike on the plant with fixed values."""

    def strike(trouble: Trouble, _: float) -> None:
        trouble.plant = replace(trouble.plant, **changes)  # type: ignore[arg-type]

    return strike


def _in_plant_by(name: str) -> Callable[[Trouble, float], None]:
    """A strike on the plant with the value written."""

    def strike(trouble: Trouble, value: float) -> None:
        trouble.plant = replace(trouble.plant, **{name: value})  # type: ignore[arg-type]

    return strike


def _at_pin(relay: Relay, fault: PinFault) -> Callable[[Trouble, float], None]:
    def strike(trouble: Trouble, _: float) -> None:
        trouble.pins[relay] = fault

    return strike


def _at_probe(role: Role, fault: BusFault) -> Callable[[Trouble, float], None]:
    def strike(trouble: Trouble, _: float) -> None:
        trouble.bus[role] = fault

    return strike


def _drift(role: Role) -> Callable[[Trouble, float], None]:
    def strike(trouble: Trouble, value: float) -> None:
        trouble.drift_k[role] = value

    return strike


def _force(role: Role) -> Callable[[Trouble, float], None]:
    def strike(trouble: Trouble, value: float) -> None:
        trouble.forced_c[role] = value

    return strike


def _step_clock(trouble: Trouble, value: float) -> None:
    trouble.clock_step_s += value


def _lose_sync(trouble: Trouble, _: float) -> None:
    trouble.clock_synced = False


def _exchange(trouble: Trouble, _: float) -> None:
    trouble.exchanged = True


def _word(name: str) -> str:
    return name.lower().replace("_", "-")


def _probe_kinds() -> Iterable[FaultKind]:
    for role in Role:
        for bus_fault in BusFault:
            word = f"{role.value}-{_word(bus_fault.name)}"
            yield FaultKind(word, bus_fault.value, _at_probe(role, bus_fault))
        yield FaultKind(
            f"{role.value}-offset", "the probe is wrong by this much",
            _drift(role), 0.8, "K", -20.0, 20.0,
        )  # fmt: skip
        yield FaultKind(
            f"{role.value}-reads", "the probe shows this whatever it feels",
            _force(role), -110.0, "°C", -128.0, 128.0,
        )  # fmt: skip


def _relay_kinds() -> Iterable[FaultKind]:
    for relay in Relay:
        for pin_fault in PinFault:
            word = f"{relay.value}-{_word(pin_fault.name)}"
            yield FaultKind(word, pin_fault.value, _at_pin(relay, pin_fault))


_PLANT_KINDS = (
    FaultKind(
        "jacket-open", "every loss is this many times as great",
        _in_plant_by("loss_factor"), 3.0, "times", 0.1, 10.0,
    ),
    FaultKind(
        "contact-lost", "the pad peels off: this share of its contact is left",
        _in_plant_by("contact_factor"), 0.14, "times", 0.01, 2.0,
    ),
    FaultKind("mains-off", "the pad is unplugged", _in_plant(pad_factor=0.0)),
    FaultKind("beer-layered", "warm beer lies above cold and nothing stirs",
              _in_plant(mixing_factor=0.0)),
    FaultKind("beer-out", "the beer probe hangs out of its well in the garage",
              _in_plant(seat=ProbeSeat.GARAGE)),
    FaultKind("probes-exchanged", "the beer's and the pad's probe are in each other's place",
              _exchange),
    FaultKind("beer-astray", "the beer probe lies on the pad", _in_plant(seat=ProbeSeat.PAD)),
    FaultKind(
        "garage-warmed", "something else warms the garage by this much",
        _in_plant_by("garage_rise_k"), 12.0, "K", -40.0, 40.0,
    ),
    FaultKind(
        "yeast-slow", "the ferment runs at this share of its rate",
        _in_plant_by("vigour"), 0.1, "times", 0.0, 3.0,
    ),
    FaultKind("clock-step", "the wall clock is wrong by this much",
              _step_clock, 3_600.0, "s", -1e9, 1e9),
    FaultKind("clock-unsynced", "nobody has set the wall clock", _lose_sync),
)  # fmt: skip

KINDS: dict[str, FaultKind] = {
    kind.word: kind for kind in (*_probe_kinds(), *_relay_kinds(), *_PLANT_KINDS)
}


def parse_fault(text: str) -> PlannedFault:
    """Read one fault: a word, perhaps `=` a value, `@` its start, perhaps `+` its length.

    Times are a number and s, min, h or d.

    Raises:
        SettingsError: the text cannot be read; it says what would be.
    """
    found = _WRITTEN.fullmatch(text.strip())
    if found is None:
        raise SettingsError(f"{text!r} is not a fault.", _EXAMPLE)
    kind = KINDS.get(found["word"])
    if kind is None:
        raise SettingsError(f"{found['word']!r} is not something that goes wrong.", _advice(found))
    from_s = _seconds(found["start"], text)
    length_s = inf if found["length"] is None else _seconds(found["length"], text)
    return PlannedFault(kind, _value(kind, found["value"]), from_s, from_s + length_s)


def trouble_at(faults: Iterable[PlannedFault], elapsed_s: float) -> Trouble:
    """What is wrong so many seconds after the start. Of two faults of one thing the later rules."""
    trouble = Trouble()
    for fault in faults:
        if fault.from_s <= elapsed_s < fault.to_s:
            fault.kind.strike(trouble, fault.value)
    return trouble


def next_change_s(faults: Iterable[PlannedFault], elapsed_s: float) -> float:
    """When, after `elapsed_s`, a fault next comes or goes; infinite when none does."""
    times = (edge for fault in faults for edge in (fault.from_s, fault.to_s) if edge > elapsed_s)
    return min(times, default=inf)


def _advice(found: re.Match[str]) -> str:
    """The words that begin as the unknown one does, or all beginnings."""
    subject = found["word"].partition("-")[0]
    near = [word for word in KINDS if word.partition("-")[0] == subject]
    if near:
        return f"With {subject} these do: {', '.join(near)}."
    subjects = dict.fromkeys(word.partition("-")[0] for word in KINDS)
    return f"Begin with one of: {', '.join(subjects)}."


def _seconds(written: str, text: str) -> float:
    found = re.fullmatch(r"([\d.]+)([a-z]+)", written)
    assert found is not None, written
    if found[2] not in _UNITS_S:
        raise SettingsError(
            f"{written!r} in {text!r} is not a time.", f"Its unit is one of: {', '.join(_UNITS_S)}."
        )
    return float(found[1]) * _UNITS_S[found[2]]


def _value(kind: FaultKind, written: str | None) -> float:
    """The value written, or the usual one."""
    if written is None:
        return kind.value if kind.value is not None else 0.0
    if kind.value is None:
        raise SettingsError(f"{kind.word} takes no value.", f"Leave out ={written}.")
    value = float(written)
    if not kind.low <= value <= kind.high:
        raise SettingsError(
            f"{kind.word} cannot be {written} {kind.unit}.",
            f"Choose a value between {kind.low:g} and {kind.high:g} {kind.unit}.",
        )
    return value
