"""The nouns every stage of a decision shares. Values only: frozen, printable, comparable,
replayable.

Nothing here decides anything; a type that only one stage needs lives in that stage.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

from controller.thermal.learned import Learned
from controller.thermal.reach import Reach


@dataclass(frozen=True, slots=True)
class Moment:
    """One reading of the clocks, taken once per tick.

    `mono_s` never steps back and is what durations and interlocks use. `utc_s` (seconds since
    1970) is for the schedule and for people; `synced` says whether it may be believed.
    """

    mono_s: float
    utc_s: float
    synced: bool = True


class Role(StrEnum):
    """What a probe measures. Beer is the only one a chamber must have."""

    BEER = "beer"
    GARAGE = "garage"
    AIR = "air"
    PAD = "pad"


class Fault(StrEnum):
    """Why a reading is not trusted."""

    MISSING = "missing"  # no such probe on the bus
    UNREADABLE = "unreadable"  # the bus answered nothing, or says the checksum failed
    GARBLED = "garbled"  # our own check of the raw bytes failed
    POWER_ON = "power-on value"  # 85.000 or 127.9375: no conversion took place
    SHORTED = "bus shorted"  # every byte zero, which passes the checksum
    LATE = "late"  # no answer within the deadline
    OUT_OF_RANGE = "out of range"
    JUMPED = "jumped"  # further from the last reading than the thing can move
    UNPROVEN = "unproven"  # good, but not yet three in a row


@dataclass(frozen=True, slots=True)
class Reading:
    """What one probe said. Exactly one of `value_c` (calibrated, °C) and `fault` is set."""

    role: Role
    taken_mono_s: float
    value_c: float | None = None
    fault: Fault | None = None

    def __post_init__(self) -> None:
        assert (self.value_c is None) != (self.fault is None), self


@dataclass(frozen=True, slots=True)
class Sensed:
    """What is believed about one temperature now.

    Args:
        value_c: the newest trusted value; None when there is none younger than the age limit.
        age_s: how old that value is; infinite when there never was one.
        slope_k_per_s: its trend by least squares over some minutes; None until there is enough of
            it. fault: why the newest reading was not trusted; None when it was. fitted: whether
            the settings name a probe for this role.
    """

    value_c: float | None = None
    age_s: float = float("inf")
    slope_k_per_s: float | None = None
    change_k: float = 0.0
    fault: Fault | None = None
    fitted: bool = False


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is believed about every temperature now."""

    beer: Sensed = Sensed()
    garage: Sensed = Sensed()
    air: Sensed = Sensed()
    pad: Sensed = Sensed()

    def of(self, role: Role) -> Sensed:
        """The belief about one role."""
        sensed: Sensed = getattr(self, role.value)
        return sensed


class Relay(StrEnum):
    """The two things that can be switched."""

    HEAT = "heat"
    FAN = "fan"


class Permit(IntEnum):
    """What the interlocks allow a relay. The greater one wins."""

    FREE = 0
    HOLD = 1  # stay as you are: minimum rest and run
    OFF = 2  # safety


@dataclass(frozen=True, slots=True)
class Permits:
    """What the interlocks allow now, and the codes of the rules that forbid something."""

    heat: Permit = Permit.OFF
    fan: Permit = Permit.OFF
    vetoes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the proportioning would switch on, were it free to."""

    heat: bool = False
    fan: bool = False


@dataclass(frozen=True, slots=True)
class Command:
    """What the relays shall be. Only `interlocks.grant` makes one, and the relay driver takes
    nothing else.
    """

    heat: bool = False
    fan: bool = False

    def __post_init__(self) -> None:
        assert not (self.heat and self.fan), "heat and fan together"


ALL_OFF = Command()


@dataclass(frozen=True, slots=True)
class Applied:
    """What the relay lines really were after the last command, read back.

    `agrees` is False when a line did not follow, `journal_ok` when the last line could not be
    written. `heat_starts` and `fan_starts` count switchings-on since the relays were new.
    """

    heat: bool = False
    fan: bool = False
    agrees: bool = True
    journal_ok: bool = True
    heat_starts: int = 0
    fan_starts: int = 0


class Finding(StrEnum):
    """What the effect stage has seen: switching that does not do what it should."""

    HEAT_WITHOUT_EFFECT = "heat-without-effect"
    HEAT_WHILE_OFF = "heat-while-off"
    RISE_TOO_FAST = "rise-too-fast"
    FALL_TOO_FAST = "fall-too-fast"
    BEER_LEAPT = "beer-leapt"
    HEAT_FALLS_SHORT = "heat-falls-short"
    FAN_WITHOUT_EFFECT = "fan-without-effect"
    BEER_STILL = "beer-still"
    BEER_FROZEN = "beer-frozen"
    BEER_ON_PAD = "beer-on-pad"
    PAD_STAYS_COLD = "pad-stays-cold"
    PAD_STAYS_HOT = "pad-stays-hot"
    PAD_LOOSE = "pad-loose"


class Priority(StrEnum):
    """How soon a person must act. ISA-18.2 asks for few of the high ones."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Transition:
    """Something that changed state, dated by when it became true.

    `state` is one of wire.EventState's words. `text` is a sentence, `remedy` what to do about it,
    `order` the order that caused it.
    """

    code: str
    state: str
    since_mono_s: float
    text: str
    remedy: str | None = None
    priority: Priority | None = None
    order: str | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """Where the beer should be: a band whose edges are the same except while it may rise freely.

    `slope_k_per_s` is how fast the target itself moves (a ramp).
    """

    low_c: float
    high_c: float
    slope_k_per_s: float = 0.0
    step: int = 1
    step_name: str = ""
    step_elapsed_s: float = 0.0

    def nearest(self, beer_c: float) -> float:
        """The point of the band nearest to the beer, in °C: what the regulator steers to."""
        return min(max(beer_c, self.low_c), self.high_c)


def off_target_k(evidence: Evidence, target: Target | None) -> float:
    """How far the beer is above its target band; below 0 when it is below it, else 0."""
    beer_c = evidence.beer.value_c
    if beer_c is None or target is None:
        return 0.0
    return beer_c - target.nearest(beer_c)


@dataclass(frozen=True, slots=True)
class Decision:
    """Everything one tick decided: enough to act on, to write down and to tell.

    `learned` is what is known of the vessel by now, `reach` what its pad can do for the target.
    """

    command: Command
    evidence: Evidence
    permits: Permits
    phase: str
    demand: float
    target: Target | None = None
    target_c: float | None = None
    trips: tuple[str, ...] = ()
    alarms: tuple[str, ...] = ()
    transitions: tuple[Transition, ...] = field(default_factory=tuple)
    learned: Learned | None = None
    reach: Reach = Reach()
