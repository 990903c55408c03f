"""Drives decide() with a lumped plant of its own, for tests that need hours and not libraries."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from controller.decision.decide import Plan, State, decide
from controller.decision.profile import Profile, Step
from controller.decision.regulator import RegulatorPlan
from controller.decision.vocabulary import Applied, Decision, Fault, Moment, Reading, Role
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned

TICK_S = 10.0


def plan_for(*steps: Step, volume_l: float = 20.0, pad_w: float = 60.0, **others: object) -> Plan:
    vessel = vessel_of(VesselSettings(volume_l, pad_w))
    profile = Profile("Test", steps) if steps else None
    return Plan(RegulatorPlan(vessel, tuned(vessel, 600.0)), profile=profile, **others)  # type: ignore[arg-type]


def hold(target_c: float) -> Step:
    return Step("hold", target_c, target_c)


@dataclass
class Drive:
    """A vessel with a pad node, a lagging probe and a garage; every fault is a function of time."""

    plan: Plan
    beer_c: float
    garage_c: Callable[[float], float] = lambda _: 5.0
    loss_w_per_k: float = 0.85
    fan_w_per_k: float = 2.5
    ferment_w: float = 0.0
    pad_works: bool = True
    pad_sticks: bool = False
    says: Callable[[Role, float, float], float | Fault | None] = lambda _role, _s, value: value
    roles: tuple[Role, ...] = (Role.BEER, Role.GARAGE)
    state: State = field(default_factory=State)
    mono_s: float = 1000.0
    decisions: list[Decision] = field(default_factory=list)
    beers_c: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.pad_c = self.probe_c = self.beer_c

    def run(self, hours: float) -> Drive:
        for _ in range(round(hours * 3600.0 / TICK_S)):
            self.turn()
        return self

    def turn(self) -> Decision:
        self._warm()
        self.mono_s += TICK_S
        values: Mapping[Role, float] = {
            Role.BEER: self.probe_c,
            Role.GARAGE: self.garage_c(self.mono_s),
            Role.AIR: self.beer_c - 2.0,
            Role.PAD: self.pad_c,
        }
        readings = tuple(
            reading for role in self.roles if (reading := self._reading(role, values[role]))
        )
        self.state, decision = decide(
            self.plan, self.state, readings, Moment(self.mono_s, 1.7e9 + self.mono_s)
        )
        before, command = self.state.applied, decision.command
        self.state = replace(
            self.state,
            applied=Applied(
                command.heat,
                command.fan,
                heat_starts=before.heat_starts + (command.heat and not before.heat),
                fan_starts=before.fan_starts + (command.fan and not before.fan),
            ),
        )
        self.decisions.append(decision)
        self.beers_c.append(self.beer_c)
        return decision

    def _reading(self, role: Role, value_c: float) -> Reading | None:
        said = self.says(role, self.mono_s, value_c)
        if said is None:
            return None
        if isinstance(said, Fault):
            return Reading(role, self.mono_s, fault=said)
        if not math.isfinite(said):
            return Reading(role, self.mono_s, value_c=said)
        return Reading(role, self.mono_s, value_c=round(said * 16.0) / 16.0)

    def _warm(self) -> None:
        applied = self.state.applied
        heat_w = self.plan.regulator.vessel.pad_w
        is_hot = self.pad_sticks or (applied.heat and self.pad_works)
        loss = self.loss_w_per_k + (self.fan_w_per_k if applied.fan else 0.0)
        capacity = self.plan.regulator.vessel.capacity_j_per_k
        for _ in range(2):
            dt_s = TICK_S / 2.0
            into_w = 4.4 * (self.pad_c - self.beer_c)
            self.pad_c += dt_s * (heat_w * is_hot - into_w) / 800.0
            out_w = loss * (self.beer_c - self.garage_c(self.mono_s))
            self.beer_c += dt_s * (into_w + self.ferment_w - out_w) / capacity
            self.probe_c += dt_s * (self.beer_c - self.probe_c) / 100.0

    def codes(self, state: str) -> list[str]:
        """The codes of all transitions of this kind so far, in order."""
        return [
            each.code for one in self.decisions for each in one.transitions if each.state == state
        ]
