"""What three days teach of a vessel, and what error to expect of the ferment's heat.

    python -m tests.bench.learning [SEEDS]

Closed loop: the project's garage (five nodes, more than the learner's one) under `decide()`, with
probes of 0.0625 K steps and 0.02 K of noise. Printed per scenario over the seeds: the error of the
learned loss and how often its 95 % interval holds the truth, the error of the pad's watts, and the
error of the ferment's watts after the first twelve hours.
"""

from __future__ import annotations

import random
import sys
from dataclasses import dataclass, field, replace
from math import sqrt

from controller.decision.decide import Plan, State, decide
from controller.decision.profile import Profile, Step
from controller.decision.regulator import RegulatorPlan
from controller.decision.vocabulary import Applied, Moment, Reading, Role
from controller.simulation.ferment import FermentSettings
from controller.simulation.garage import Garage
from controller.simulation.plant import GarageSettings
from controller.simulation.weather import WeatherSettings
from controller.thermal.learned import Learned
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned

TICK_S = 10.0
START_UTC_S = 1_768_478_400.0
INTERVAL_SDS = 1.96
RUN_IN_H = 12.0
WATER = FermentSettings(original_plato=0.0, final_plato=0.0)
SLOW = FermentSettings(rate_per_h=0.07, coldest_c=0.0, best_c=24.0, hottest_c=33.0)
JITTERED = (
    "loss_w_per_k", "pad_w", "pad_contact_w_per_k", "well_lag_s", "still_mixing_w_per_k",
    "pad_j_per_k", "jacket_j_per_k", "vessel_j_per_k",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Case:
    """One vessel, as described, and what is done with it; `jitter` moves the truth at random."""

    name: str
    said: VesselSettings
    ferment: FermentSettings = FermentSettings()
    target_c: float = 35.0
    start_c: float = 30.0
    mean_c: float = 3.0
    days: float = 3.0
    jitter: float = 0.0


CASES = (
    Case("good 20 L 60 W", VesselSettings(20.0, 60.0)),
    Case("good 20 L 60 W, water", VesselSettings(20.0, 60.0), WATER),
    Case("thin 20 L 100 W", VesselSettings(20.0, 100.0, "thin")),
    Case("thin 20 L 100 W, water", VesselSettings(20.0, 100.0, "thin"), WATER),
    Case("thin 20 L 60 W, out of reach", VesselSettings(20.0, 60.0, "thin")),
    Case("good 5 L 25 W", VesselSettings(5.0, 25.0)),
    Case("good 5 L 25 W, water", VesselSettings(5.0, 25.0), WATER),
    Case("thin 5 L 40 W", VesselSettings(5.0, 40.0, "thin")),
    Case("thin 5 L 40 W, water", VesselSettings(5.0, 40.0, "thin"), WATER),
    Case("good 5 L 60 W", VesselSettings(5.0, 60.0)),
    Case("slow ale 20 °C, 6 days", VesselSettings(20.0, 60.0), SLOW, 20.0, 18.0, 8.0, 6.0),
    Case("good 20 L, 25 % jitter", VesselSettings(20.0, 60.0), jitter=0.25),
    Case("pitched at 35 °C, no warm-up", VesselSettings(20.0, 60.0), start_c=35.0, jitter=0.1),
)


@dataclass
class Run:
    """One case with one seed: what was learned, and the truth."""

    case: Case
    seed: int
    learned: Learned | None = None
    errors_w: list[float] = field(default_factory=list)
    within: list[bool] = field(default_factory=list)
    telling_w: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        said, case = self.said, self.case
        chance = self._chance = random.Random(f"{case.name} {self.seed}")
        plant = GarageSettings.jacketed(
            "bare" if said.jacket == "none" else said.jacket,
            volume_l=said.volume_l,
            pad_w=said.pad_w,
            start_c=case.start_c,
            weather=WeatherSettings(mean_c=case.mean_c, swing_k=4.0),
            ferment=case.ferment,
        )
        surface = (said.volume_l / 20.0) ** (2.0 / 3.0)
        plant = replace(plant, loss_w_per_k=plant.loss_w_per_k * surface)
        spread = {
            name: getattr(plant, name) * (1.0 + chance.uniform(-case.jitter, case.jitter))
            for name in JITTERED
        }
        self.plant = replace(plant, **spread)  # type: ignore[arg-type]
        self._go()

    @property
    def said(self) -> VesselSettings:
        return self.case.said

    def _go(self) -> None:
        garage = Garage(self.plant, self.seed, START_UTC_S)
        vessel = vessel_of(self.said)
        target_c = self.case.target_c
        plan = Plan(
            RegulatorPlan(vessel, tuned(vessel, 600.0)),
            profile=Profile("bench", (Step("hold", target_c, target_c),)),
        )
        state, applied, mono_s = State(), Applied(), 1000.0
        then_s, then_j = mono_s, 0.0
        for _ in range(round(self.case.days * 86_400.0 / TICK_S)):
            mono_s += TICK_S
            utc_s = START_UTC_S + mono_s - 1000.0
            garage.step(TICK_S, applied.heat, applied.fan, utc_s)
            readings = (
                Reading(Role.BEER, mono_s, self._said(garage.beer_probe_c)),
                Reading(Role.GARAGE, mono_s, self._said(garage.garage_probe_c)),
            )
            state, decision = decide(plan, state, readings, Moment(mono_s, utc_s))
            applied = Applied(decision.command.heat, decision.command.fan)
            state = replace(state, applied=applied)
            if decision.learned is self.learned or decision.learned is None:
                continue
            self.learned = decision.learned
            if mono_s - 1000.0 > RUN_IN_H * 3600.0:
                self._compare((garage.ferment_j - then_j) / (mono_s - then_s))
            then_s, then_j = mono_s, garage.ferment_j

    def _said(self, true_c: float) -> float:
        return round((true_c + self._chance.gauss(0.0, 0.02)) * 16.0) / 16.0

    def _compare(self, true_w: float) -> None:
        learned = self.learned
        if learned is None or learned.ferment_w is None or learned.ferment_sd_w is None:
            return
        error_w = learned.ferment_w - true_w
        self.errors_w.append(error_w)
        self.within.append(abs(error_w) <= INTERVAL_SDS * learned.ferment_sd_w)
        if learned.ferment_w > 2.0 * learned.ferment_sd_w:
            self.telling_w.append(true_w)

    @property
    def loss_error(self) -> float:
        assert self.learned is not None
        return self.learned.loss_w_per_k / self.plant.loss_w_per_k - 1.0

    @property
    def pad_error(self) -> float:
        assert self.learned is not None
        return self.learned.pad_w / self.plant.pad_w - 1.0

    @property
    def holds_truth(self) -> bool:
        assert self.learned is not None
        error = abs(self.learned.loss_w_per_k - self.plant.loss_w_per_k)
        return error <= INTERVAL_SDS * self.learned.loss_sd_w_per_k

    @property
    def ferment_rmse_w(self) -> float:
        return sqrt(sum(e * e for e in self.errors_w) / len(self.errors_w))


def row(case: Case, seeds: int) -> str:
    runs = [Run(case, seed) for seed in range(1, seeds + 1)]
    losses = [100.0 * run.loss_error for run in runs]
    sd = sum(r.learned.loss_sd_w_per_k / r.learned.loss_w_per_k for r in runs if r.learned) / seeds
    pads = [100.0 * run.pad_error for run in runs]
    rmse_w = sum(run.ferment_rmse_w for run in runs) / seeds
    within = sum(sum(run.within) for run in runs) / sum(len(run.within) for run in runs)
    told = [w for run in runs for w in run.telling_w]
    least_w = f"{sorted(told)[len(told) // 20]:5.1f}" if told else "    -"
    return (
        f"{case.name:<29} {sum(losses) / seeds:+6.1f} {min(losses):+6.1f} {max(losses):+6.1f} "
        f"{100.0 * sd:5.1f} {sum(run.holds_truth for run in runs):3d}/{seeds} "
        f"{sum(pads) / seeds:+6.1f} {rmse_w:7.2f} {100.0 * within:6.0f} {least_w}"
    )


HEAD = (
    f"{'':<29} {'loss error %':^20} {'sd %':>5} {'in':>6} {'pad %':>6} {'ferment W':>8}\n"
    f"{'':<29} {'mean':>6} {'least':>6} {'most':>6} {'':5} {'95 %':>6} {'mean':>6} {'rmse':>7} "
    f"{'in 95%':>6} told from W"
)

if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    print(HEAD)
    for each in CASES:
        print(row(each, count), flush=True)
