"""One trial: a rival, a scenario, and what came of it, judged by the true beer at the probe."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf, sqrt
from random import Random

from controller.decision.vocabulary import Role
from tests.bench.regulation.plant import Plant
from tests.bench.regulation.rivals import Rival
from tests.bench.regulation.scenarios import HOUR_S, Scenario

TICK_S = 10.0
NEAR_K = 0.3
NEW_TARGET_K = 0.5
DWELL_S_MIN = 30.0
APART_S = 1_800.0
REAL_ERROR_K = 0.5
PAD_ROOM_LAG_S = 40.0
GARAGE_PROBE_LAG_S = 300.0
UPSET_H = 4.0  # So long what was done to the beer is not the control's fault.


@dataclass(slots=True)
class Tally:
    """The measures of one run; times in s, temperatures in °C, differences in K."""

    iae_k_s: float = 0.0
    held_s: float = 0.0
    square_k2_s: float = 0.0
    calm_s: float = 0.0
    calm_k2_s: float = 0.0
    near_s: float = 0.0
    over_k: float = 0.0
    under_k: float = 0.0
    edges: int = 0
    short_dwells: int = 0
    too_close: int = 0
    pad_c_max: float = 0.0
    energy_j: float = 0.0
    arrived_s: float | None = None
    trips: int = 0
    pad_vetoes: int = 0
    trace: list[tuple[float, ...]] = field(default_factory=list)
    _target_c: float | None = None
    _is_there: bool = False
    _was: tuple[bool, bool] = (False, False)
    _changed_s: list[float] = field(default_factory=lambda: [-inf, -inf])
    _ran_s: list[float] = field(default_factory=lambda: [-inf, -inf])

    def beer(self, now_s: float, beer_c: float, target_c: float, is_upset: bool = False) -> None:
        """Counts one tick of the beer; `is_upset` while and shortly after something was done to it,
        which no control can keep out of the beer.
        """
        error_k = beer_c - target_c
        self.iae_k_s += abs(error_k) * TICK_S
        if self._target_c is None or abs(target_c - self._target_c) > NEW_TARGET_K:
            self._is_there = False
        self._target_c = target_c
        if not self._is_there:
            self._is_there = abs(error_k) <= NEAR_K
            if self._is_there and self.arrived_s is None:
                self.arrived_s = now_s
            return
        self.held_s += TICK_S
        self.square_k2_s += error_k * error_k * TICK_S
        if not is_upset:
            self.calm_s += TICK_S
            self.calm_k2_s += error_k * error_k * TICK_S
        self.near_s += TICK_S * (abs(error_k) <= NEAR_K)
        self.over_k, self.under_k = max(self.over_k, error_k), max(self.under_k, -error_k)

    def relays(self, now_s: float, now: tuple[bool, bool], error_k: float) -> None:
        """Counts one tick of heat and fan."""
        for which in (0, 1):
            other_s = now_s - self._ran_s[1 - which]
            starts = now[which] and not self._was[which]
            if starts and other_s < APART_S and abs(error_k) <= REAL_ERROR_K:
                self.too_close += 1
            if now[which] is not self._was[which]:
                self.edges += 1
                self.short_dwells += now_s - self._changed_s[which] < DWELL_S_MIN
                self._changed_s[which] = now_s
        for which in (0, 1):
            if now[which]:
                self._ran_s[which] = now_s
        self._was = now

    @property
    def rmse_k(self) -> float:
        return sqrt(self.square_k2_s / self.held_s) if self.held_s else inf

    @property
    def calm_rmse_k(self) -> float:
        """RMSE after arrival, without what was done to the beer and the hours after it."""
        return sqrt(self.calm_k2_s / self.calm_s) if self.calm_s else inf


def run(scenario: Scenario, rival: Rival, *, traced: bool = False) -> Tally:
    """Drives the plant with this rival for the scenario's hours."""
    plant, tally, random = Plant(scenario.plant), Tally(), Random(f"probe {scenario.seed}")
    garage_felt_c = scenario.garage(0.0)
    pad_felt_c = plant.pad_c
    poured: set[float] = set()
    for turn in range(round(scenario.hours * HOUR_S / TICK_S)):
        now_s = turn * TICK_S
        hour, target_c = now_s / HOUR_S, scenario.target_c(now_s / HOUR_S)
        garage_c = scenario.garage(hour)
        garage_felt_c += (garage_c - garage_felt_c) * TICK_S / GARAGE_PROBE_LAG_S
        pad_felt_c += (plant.pad_c - pad_felt_c) * TICK_S / PAD_ROOM_LAG_S
        felt_c = {
            Role.BEER: plant.bead_c + scenario.bias_k + random.gauss(0.0, scenario.noise_k),
            Role.GARAGE: garage_felt_c + random.gauss(0.0, 0.02),
        }
        if scenario.has_pad_probe:
            felt_c[Role.PAD] = pad_felt_c
        felt_c = {role: round(value_c * 16.0) / 16.0 for role, value_c in felt_c.items()}
        heat, fan = rival.switch(1_000.0 + now_s, felt_c, target_c)
        is_upset = any(0.0 <= hour - h.from_h < UPSET_H for h in scenario.happenings)
        tally.beer(now_s, plant.beer_c, target_c, is_upset)
        tally.relays(now_s, (heat, fan), felt_c[Role.BEER] - target_c)
        tally.pad_c_max = max(tally.pad_c_max, plant.pad_c)
        tally.energy_j += (scenario.plant.pad_w * heat + 3.0 * fan) * TICK_S
        if traced:
            row = (hour, target_c, plant.beer_c, garage_c, float(heat), -float(fan), plant.pad_c)
            tally.trace.append(row)
        _happen(plant, scenario, hour, poured)
        plant.step(TICK_S, heat, fan, garage_c, scenario.ferment(hour))
    tally.trips = getattr(rival, "trips", 0)
    tally.pad_vetoes = getattr(rival, "pad_vetoes", 0)
    return tally


def _happen(plant: Plant, scenario: Scenario, hour: float, poured: set[float]) -> None:
    plant.loss_factor, plant.probe_is_out = 1.0, False
    for happening in scenario.happenings:
        if happening.is_on(hour):
            plant.loss_factor = happening.loss_factor
            plant.probe_is_out = happening.probe_is_out
        if happening.cold_l and hour >= happening.from_h and happening.from_h not in poured:
            poured.add(happening.from_h)
            plant.add_cold(happening.cold_l, 8.0)
