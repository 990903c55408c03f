"""Sound vessels, made at random and lived through by decide() in the garage's physics."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from controller.decision.decide import Plan, State, decide
from controller.decision.profile import Profile, Step
from controller.decision.regulator import RegulatorPlan
from controller.decision.vocabulary import Applied, Decision, Moment, Reading, Role
from controller.simulation.ferment import FermentSettings
from controller.simulation.garage import Garage
from controller.simulation.plant import JACKETS, Disturbance, GarageSettings
from controller.simulation.simulate import JACKET_OF
from controller.simulation.weather import WeatherSettings
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned

TICK_S = 10.0
# What a person may do to a sound vessel, and for how long: none of it may cost a night's heat.
VISITS = {
    "nobody comes": (Disturbance(), 0.0),
    "the jacket is opened for the dry hops": (Disturbance(loss_factor=3.0), 1200.0),
    "the garage door is left open": (Disturbance(garage_rise_k=-8.0), 2400.0),
    "a car warms the garage": (Disturbance(garage_rise_k=6.0), 5400.0),
    "the yeast is roused": (Disturbance(vigour=2.0), 36_000.0),
}


def sound_vessel(chance: Random) -> tuple[VesselSettings, GarageSettings]:
    """A vessel, and what stands in the garage: within a tenth of what the settings say of it."""
    volume_l = chance.choice((5.0, 10.0, 20.0, 30.0, 60.0))
    jacket = chance.choice(("good", "good", "thin", "none"))
    pad_w = volume_l * chance.uniform(2.0, 4.5)
    settings = VesselSettings(volume_l, pad_w, jacket)
    surface, pads = (volume_l / 20.0) ** (2.0 / 3.0), pad_w / 60.0
    plant = GarageSettings.jacketed(JACKET_OF[jacket])
    mean_c = chance.uniform(-5.0, 20.0)
    return settings, replace(
        plant,
        volume_l=volume_l * chance.uniform(0.92, 1.08),
        loss_w_per_k=plant.loss_w_per_k * surface * chance.uniform(0.7, 1.3),
        pad_w=pad_w * chance.uniform(0.93, 1.05),
        pad_contact_w_per_k=4.4 * pads * chance.uniform(0.6, 1.8),
        pad_j_per_k=700.0 * pads * chance.uniform(0.7, 1.5),
        fan_w_per_k=chance.uniform(1.0, 4.0) * surface,
        well_lag_s=chance.uniform(35.0, 160.0),
        start_c=chance.choice((mean_c + 2.0, 20.0, 30.0, 34.0)),
        weather=WeatherSettings(mean_c=mean_c, swing_k=chance.uniform(0.0, 7.0)),
        ferment=FermentSettings(
            original_plato=chance.choice((0.0, 10.0, 13.0, 18.0)),
            rate_per_h=chance.uniform(0.08, 0.25),
        ),
    )


class Life:
    """One sound vessel's days, from a seed; `decisions` holds what was decided at every tick."""

    def __init__(self, seed: int) -> None:
        self.chance = chance = Random(seed)
        settings, plant = sound_vessel(chance)
        vessel = vessel_of(settings)
        targets_c = [chance.uniform(16.0, 38.0) for _ in range(2)]
        steps = (
            Step("first", targets_c[0], targets_c[0], hold_s=chance.uniform(10, 30) * 3600.0),
            Step("second", targets_c[1], targets_c[1]),
        )
        self.plan = Plan(RegulatorPlan(vessel, tuned(vessel, 600.0)), profile=Profile("T", steps))
        self.garage = Garage(plant, seed, 1.7e9)
        bare_w_per_k = JACKETS["bare"][0] * (plant.volume_l / 20.0) ** (2.0 / 3.0)
        self.bare_factor = max(1.0, bare_w_per_k / plant.loss_w_per_k)
        self.roles = (Role.BEER, *(r for r in (Role.GARAGE, Role.PAD) if chance.random() < 0.6))
        self.offsets_k = {role: chance.uniform(-0.4, 0.4) for role in Role}
        self.noise_k = chance.choice((0.0, 0.01, 0.03))
        self.visit = chance.choice(list(VISITS))
        self.visit_s = chance.uniform(4.0, 20.0) * 3600.0
        self.said = f"{settings} {plant} {targets_c} {self.roles} {self.visit}"
        self.decisions: list[Decision] = []

    def run(self, hours: float) -> Life:
        state, applied = State(), Applied()
        visit, length_s = VISITS[self.visit]
        # Why: whatever is opened, a vessel loses no more than a bare one.
        visit = replace(visit, loss_factor=min(visit.loss_factor, self.bare_factor))
        for turn in range(round(hours * 3600.0 / TICK_S)):
            at_s = turn * TICK_S
            if at_s - TICK_S < self.visit_s <= at_s:
                self.garage.disturb(visit)
            elif at_s - TICK_S < self.visit_s + length_s <= at_s:
                self.garage.disturb(Disturbance())
            self.garage.step(TICK_S, applied.heat, applied.fan, 1.7e9 + at_s)
            now = Moment(1000.0 + at_s, 1.7e9 + at_s)
            state = replace(state, applied=applied)
            state, decision = decide(self.plan, state, self._readings(now), now)
            applied = Applied(decision.command.heat, decision.command.fan)
            self.decisions.append(decision)
        return self

    def _readings(self, now: Moment) -> tuple[Reading, ...]:
        return tuple(self._reading(role, now) for role in self.roles)

    def _reading(self, role: Role, now: Moment) -> Reading:
        felt_c = getattr(self.garage, f"{role.value}_probe_c") + self.offsets_k[role]
        felt_c += self.chance.gauss(0.0, self.noise_k)
        return Reading(role, now.mono_s, value_c=round(felt_c * 16.0) / 16.0)

    def trips(self) -> list[str]:
        return self.codes("tripped")

    def codes(self, state: str) -> list[str]:
        return [t.code for d in self.decisions for t in d.transitions if t.state == state]
