"""What the control is tried on: a vessel, what its brewer says of it, a garage, and what happens.

Every scenario is made of numbers only; nothing in the controller knows of any of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, exp, pi

from controller.decision.profile import Step
from tests.bench.regulation.plant import PlantSettings, jittered

HOUR_S = 3_600.0


@dataclass(frozen=True, slots=True)
class Happening:
    """From `from_h` for `for_h` hours: a jacket open, or a probe out; or cold water at once."""

    from_h: float
    for_h: float = 0.0
    loss_factor: float = 1.0
    probe_is_out: bool = False
    cold_l: float = 0.0

    def is_on(self, hour: float) -> bool:
        return self.from_h <= hour < self.from_h + self.for_h


@dataclass(frozen=True, slots=True)
class Garage:
    """A mean, a day, and straight lines between (hour, kelvin) corners on top."""

    mean_c: float
    swing_k: float
    corners: tuple[tuple[float, float], ...] = ()
    first_h: float = 18.0

    def __call__(self, hour: float) -> float:
        day_k = self.swing_k * cos(2.0 * pi * (hour + self.first_h - 15.0) / 24.0)
        # A gust every now and then, repeatable: two tones that never meet.
        gust_k = 0.3 * cos(2.0 * pi * hour / 1.37) + 0.2 * cos(2.0 * pi * hour / 0.61)
        return self.mean_c + day_k + gust_k + self._line_k(hour)

    def _line_k(self, hour: float) -> float:
        before = (0.0, 0.0)
        for corner in self.corners:
            if hour < corner[0]:
                share = (hour - before[0]) / (corner[0] - before[0])
                return before[1] + share * (corner[1] - before[1])
            before = corner
        return before[1]


@dataclass(frozen=True, slots=True)
class Ferment:
    """Heat that comes and goes: a bell whose falling side is twice as long."""

    peak_w: float = 6.0
    peak_h: float = 18.0
    width_h: float = 10.0

    def __call__(self, hour: float) -> float:
        width_h = self.width_h if hour < self.peak_h else 2.0 * self.width_h
        return self.peak_w * exp(-0.5 * ((hour - self.peak_h) / width_h) ** 2)


@dataclass(frozen=True, slots=True)
class Scenario:
    """One trial.

    Args:
        plant: the truth. told_l, told_w, told_jacket: what the brewer wrote in the settings.
        is_able: the pad (and fan) can hold the target all the time, jacket shut.
        bias_k, noise_k: of the beer probe, before it rounds to 1/16 K.
    """

    name: str
    plant: PlantSettings
    steps: tuple[Step, ...]
    garage: Garage
    hours: float = 60.0
    told_l: float = 20.0
    told_w: float = 60.0
    told_jacket: str = "good"
    ferment: Ferment = Ferment()
    happenings: tuple[Happening, ...] = ()
    has_fan: bool = False
    has_pad_probe: bool = False
    is_able: bool = True
    bias_k: float = 0.0
    noise_k: float = 0.02
    overshoot_k_max: float = 0.3
    rmse_k_max: float = 0.06
    seed: int = 0

    def jittered(self, seed: int) -> Scenario:
        """The same told to the controller, a vessel up to 25 % different in every number."""
        return replace(self, plant=jittered(self.plant, seed), seed=seed)

    def target_c(self, hour: float) -> float:
        """Where the beer should be; reckoned here, apart from the controller's own profile."""
        left_h = hour
        for step in self.steps[:-1]:
            assert step.hold_s is not None
            if left_h < step.hold_s / HOUR_S:
                share = left_h * HOUR_S / step.hold_s
                return step.start_c + share * (step.end_c - step.start_c)
            left_h -= step.hold_s / HOUR_S
        return self.steps[-1].end_c


def _hold(target_c: float, hours: float | None = None) -> Step:
    return Step("hold", target_c, target_c, None if hours is None else hours * HOUR_S)


def _ramp(from_c: float, to_c: float, hours: float) -> Step:
    return Step("ramp", from_c, to_c, hours * HOUR_S)


VESSEL = PlantSettings()
HOLD_35: tuple[Step, ...] = (_hold(35.0),)
SMALL = PlantSettings(
    volume_l=5.0,
    shell_j_per_k=1_300.0,
    loss_w_per_k=0.35,
    jacket_j_per_k=400.0,
    still_w_per_k=10.0,
    plume_w=28.0,
)
BAD_CONTACT = replace(VESSEL, pad_w=100.0, contact_w_per_k=1.3)
UPSETS = (
    Happening(20.0, 0.5, loss_factor=3.0),
    Happening(30.0, 0.33, probe_is_out=True),
    Happening(45.0, cold_l=1.5),
)
SNAP = ((6.0, 0.0), (12.0, -17.0), (30.0, -17.0), (42.0, 0.0))

SCENARIOS = (
    Scenario("cold garage", VESSEL, HOLD_35, Garage(3.0, 4.0)),
    Scenario("cold snap", replace(VESSEL, start_c=34.8), HOLD_35, Garage(5.0, 2.0, SNAP)),
    Scenario(
        "pad too small",
        replace(VESSEL, pad_w=25.0, start_c=30.0),
        HOLD_35,
        Garage(3.0, 4.0),
        told_w=25.0,
        is_able=False,
    ),
    Scenario(
        "thin jacket",
        replace(VESSEL, loss_w_per_k=2.1, jacket_j_per_k=500.0),
        HOLD_35,
        Garage(7.0, 5.0),
        told_jacket="thin",
        is_able=False,
    ),
    Scenario(
        "five litres",
        SMALL,
        HOLD_35,
        Garage(3.0, 4.0),
        told_l=5.0,
        ferment=Ferment(1.5),
        overshoot_k_max=0.4,
        rmse_k_max=0.10,
    ),
    Scenario(
        "lager-style",
        replace(VESSEL, start_c=17.0),
        (_hold(18.0),),
        Garage(13.0, 2.5),
        ferment=Ferment(10.0, 20.0, 12.0),
        has_fan=True,
    ),
    Scenario(
        "ramp",
        replace(VESSEL, start_c=25.0),
        (_hold(25.0, 6.0), _ramp(25.0, 35.0, 24.0), _hold(35.0)),
        Garage(5.0, 4.0),
    ),
    Scenario("upsets", replace(VESSEL, start_c=33.0), HOLD_35, Garage(5.0, 3.0), happenings=UPSETS),
    Scenario("bad contact", BAD_CONTACT, HOLD_35, Garage(5.0, 3.0), told_w=100.0),
    Scenario(
        "bad contact, pad probe",
        replace(BAD_CONTACT, start_c=30.0),
        HOLD_35,
        Garage(10.0, 3.0),
        told_w=100.0,
        has_pad_probe=True,
    ),
    Scenario(
        "warm by day",
        replace(VESSEL, start_c=24.0),
        (_hold(24.0),),
        Garage(20.0, 7.0),
        ferment=Ferment(7.0),
        has_fan=True,
        is_able=False,
    ),
    Scenario(
        "biased probe",
        replace(VESSEL, start_c=34.0),
        HOLD_35,
        Garage(5.0, 4.0),
        bias_k=0.3,
        noise_k=0.08,
        is_able=False,
    ),
    Scenario(
        "steps",
        replace(VESSEL, start_c=29.0),
        (_hold(30.0, 15.0), _hold(33.0, 15.0), _hold(36.0, 15.0), _hold(34.0)),
        Garage(5.0, 4.0),
    ),
)


def named(name: str) -> Scenario:
    """The scenario of this name, or of the one whose name begins so."""
    for scenario in SCENARIOS:
        if scenario.name.startswith(name):
            return scenario
    raise SystemExit(f"No scenario begins with {name!r}. Choose: {[s.name for s in SCENARIOS]}")
