"""Who is compared: the controller's own decide(), two thermostats, and a fixed SIMC PID.

All are given the same readings and return what to switch. None sees the truth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

from simple_pid import PID

from controller.decision import interlocks
from controller.decision.decide import Plan, State, decide
from controller.decision.profile import Profile
from controller.decision.proportioning import ProportioningSettings
from controller.decision.regulator import FanSettings, RegulatorPlan
from controller.decision.vocabulary import Applied, Moment, Reading, Role
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned
from tests.bench.regulation.scenarios import Scenario

FAN_GATE_K = 1.0


class Rival(Protocol):
    """Anything that switches heat and fan."""

    def switch(
        self, mono_s: float, felt_c: Mapping[Role, float], target_c: float
    ) -> tuple[bool, bool]:
        """Heat and fan from now until the next call."""


@dataclass
class Keeper:
    """decide() in plain memory. A person releases a latched trip half an hour after it came."""

    scenario: Scenario
    state: State = field(default_factory=State)
    trips: int = 0
    pad_vetoes: int = 0
    tripped_s: float = 0.0

    def __post_init__(self) -> None:
        told = self.scenario
        vessel = vessel_of(VesselSettings(told.told_l, told.told_w, told.told_jacket))
        fan = FanSettings("cooling" if told.has_fan else "none")
        self.plan = Plan(
            RegulatorPlan(vessel, tuned(vessel, ProportioningSettings().cycle_s), fan),
            profile=Profile("Bench", self.scenario.steps),
        )

    def switch(
        self, mono_s: float, felt_c: Mapping[Role, float], target_c: float
    ) -> tuple[bool, bool]:
        readings = [Reading(role, mono_s, value_c) for role, value_c in felt_c.items()]
        had = self.state.interlocks.trips
        self.state, made = decide(self.plan, self.state, readings, Moment(mono_s, mono_s))
        heat, fan = made.command.heat, made.command.fan
        self.state = replace(self.state, applied=Applied(heat, fan))
        self.pad_vetoes += "pad-too-hot" in made.permits.vetoes
        if len(made.trips) > len(had):
            self.trips += 1
            self.tripped_s = mono_s
        if made.trips and mono_s - self.tripped_s >= 1_800.0:
            locked = self.state.interlocks
            for code in made.trips:
                locked = interlocks.released(locked, code)
            self.state = replace(self.state, interlocks=locked)
        return heat, fan


@dataclass
class Thermostat:
    """On below, off above; the fan likewise on the other side, gated by the garage."""

    band_k: float
    has_fan: bool
    heat: bool = False
    fan: bool = False

    def switch(
        self, mono_s: float, felt_c: Mapping[Role, float], target_c: float
    ) -> tuple[bool, bool]:
        above_k = felt_c[Role.BEER] - target_c
        if abs(above_k) > self.band_k:
            self.heat = above_k < 0.0
        can_cool = felt_c[Role.BEER] - felt_c[Role.GARAGE] > FAN_GATE_K
        self.fan = self.has_fan and can_cool and above_k > (0.0 if self.fan else self.band_k)
        self.heat = self.heat and not self.fan
        return self.heat, self.fan


@dataclass
class FixedPid:
    """The SIMC tuning of a 20 L vessel with 60 W, a 600 s window, its integral gated near."""

    has_fan: bool
    gain_per_k: float = 0.98
    integral_s: float = 5_800.0
    window_s: float = 600.0
    dwell_s: float = 30.0
    began_s: float = -1e9
    duty: float = 0.0

    def __post_init__(self) -> None:
        self.pid = PID(
            self.gain_per_k, 0.0, 0.0, sample_time=None, output_limits=(-1.0, 1.0), setpoint=0.0
        )
        self.last_s: float | None = None

    def switch(
        self, mono_s: float, felt_c: Mapping[Role, float], target_c: float
    ) -> tuple[bool, bool]:
        dt_s = 10.0 if self.last_s is None else mono_s - self.last_s
        self.last_s = mono_s
        error_k = target_c - felt_c[Role.BEER]
        self.pid.Ki = self.gain_per_k / self.integral_s if abs(error_k) < 1.5 else 0.0
        self.pid.setpoint = target_c
        asked = self.pid(felt_c[Role.BEER], dt=dt_s)
        if mono_s - self.began_s >= self.window_s:
            self.began_s, self.duty = mono_s, asked
        share = abs(self.duty)
        on_s = share * self.window_s
        on_s = 0.0 if on_s < self.dwell_s else on_s
        on_s = self.window_s if self.window_s - on_s < self.dwell_s else on_s
        is_on = mono_s - self.began_s < on_s
        can_cool = felt_c[Role.BEER] - felt_c[Role.GARAGE] > FAN_GATE_K
        cools = self.has_fan and can_cool and self.duty < -0.05
        return is_on and self.duty > 0.0, is_on and cools


RIVALS = {
    "barmkeep": Keeper,
    "thermostat 0.5": lambda s: Thermostat(0.5, s.has_fan),
    "thermostat 0.1": lambda s: Thermostat(0.1, s.has_fan),
    "fixed PID": lambda s: FixedPid(s.has_fan),
}
