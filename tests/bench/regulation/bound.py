"""The clairvoyant bound: a linear programme that knows garage, ferment and every upset beforehand.

Over steps of ten minutes it chooses the pad's share and the fan's watts so that the sum of
|beer - target| is least, on the plant made linear. Nothing that has to wait and see can do better
but for what the straightened plume is worth. Beside it, the fastest arrival: full effort all along.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.linalg import expm
from scipy.optimize import linprog
from scipy.sparse import coo_array

from tests.bench.regulation.plant import (
    STATES,
    WORT_J_PER_L_K,
    Plant,
    capacities_of,
    straight,
)
from tests.bench.regulation.scenarios import HOUR_S, Scenario
from tests.bench.regulation.trial import NEAR_K, TICK_S

STEP_S = 600.0
PAD_C_MAX = 60.0  # What the settings allow by default; binds only where the pad has a probe.
_N, _CORE, _PAD = len(STATES), 2, 0


@dataclass(frozen=True, slots=True)
class Bound:
    """The least sum of |beer - target| (K s), the fastest arrival (s; None: never or at once)."""

    iae_k_s: float
    arrival_s: float | None


@cache
def bound(scenario: Scenario) -> Bound:
    """What perfect knowledge could do here."""
    return Bound(_least_iae(scenario), _fastest(scenario))


@cache
def _step_matrices(scenario: Scenario, loss_factor: float, ferment_w: float) -> np.ndarray:
    flow, drive = straight(scenario.plant, loss_factor, ferment_w)
    whole = np.zeros((_N + 4, _N + 4))
    whole[:_N, :_N], whole[:_N, _N:] = flow, drive
    return np.asarray(expm(whole * STEP_S)[:_N])


def _cold_shares(scenario: Scenario, hour: float) -> np.ndarray:
    """How far an upset moves the core, as a line a + b * core: returned as (a, b)."""
    litres = sum(
        each.cold_l for each in scenario.happenings if hour <= each.from_h < hour + STEP_S / HOUR_S
    )
    share = litres * WORT_J_PER_L_K / capacities_of(scenario.plant)[_CORE]
    return np.array([8.0 * share, 1.0 - share])


def _least_iae(scenario: Scenario) -> float:
    """Variables of each step: the states at its end, pad share, fan watts, and how far above and
    below the target the beer is at the step's end and at its beginning (the trapezium rule).
    """
    count, width = round(scenario.hours * HOUR_S / STEP_S), _N + 6
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    right = np.zeros(count * (_N + 2))
    bounds: list[tuple[float | None, float | None]] = []

    def put(row: int, column: int, value: float) -> None:
        rows.append(row)
        columns.append(column)
        values.append(value)

    for k in range(count):
        hour = k * STEP_S / HOUR_S
        middle_h = hour + STEP_S / HOUR_S / 2.0
        loss = max([1.0, *(h.loss_factor for h in scenario.happenings if h.is_on(middle_h))])
        ferment_w = round(scenario.ferment(middle_h), 0)
        matrix = _step_matrices(scenario, loss, ferment_w)
        given = matrix[:, _N + 2] * scenario.ferment(middle_h)
        given = given + matrix[:, _N + 3] * scenario.garage(middle_h)
        at, before = k * width, (k - 1) * width
        shift, keep = _cold_shares(scenario, hour)
        for i in range(_N):
            row = k * (_N + 2) + i
            put(row, at + i, 1.0)
            put(row, at + _N, -matrix[i, _N])
            put(row, at + _N + 1, -matrix[i, _N + 1])
            right[row] = given[i] + matrix[i, _CORE] * shift
            for j in range(_N):
                part = matrix[i, j] * (keep if j == _CORE else 1.0)
                if k:
                    put(row, before + j, -part)
                else:
                    right[row] += part * scenario.plant.start_c
        target_c = scenario.target_c(middle_h)
        # A step up or down falls between two steps: each end is judged by its own side of it.
        asked_c = (scenario.target_c(hour + STEP_S / HOUR_S - 1e-6), scenario.target_c(hour))
        for end in (0, 1):
            row = k * (_N + 2) + _N + end
            right[row] = asked_c[end]
            if end == 1 and k == 0:
                right[row] -= scenario.plant.start_c
            else:
                put(row, (at, before)[end] + _CORE, 1.0)
            put(row, at + _N + 2 + 2 * end, -1.0)
            put(row, at + _N + 3 + 2 * end, 1.0)
        room_k = max(0.0, target_c + NEAR_K - scenario.garage(middle_h))
        fan_w = scenario.plant.fan_w_per_k * room_k if scenario.has_fan else 0.0
        pad_c_max = PAD_C_MAX if scenario.has_pad_probe else None
        bounds += [(None, pad_c_max if i == _PAD else None) for i in range(_N)]
        bounds += [(0.0, 1.0), (0.0, fan_w), *[(0.0, None)] * 4]
    cost = np.tile(np.array([0.0] * (_N + 2) + [STEP_S / 2.0] * 4), count)
    equal = coo_array((values, (rows, columns)), shape=(right.size, cost.size)).tocsr()
    found = linprog(cost, A_eq=equal, b_eq=right, bounds=bounds, method="highs")
    assert found.success, found.message
    return float(found.fun)


def _fastest(scenario: Scenario) -> float | None:
    """Full effort until the beer is within 0.3 K; the pad's limit is kept where it has a probe."""
    plant, first_c = Plant(scenario.plant), scenario.target_c(0.0)
    if first_c - plant.beer_c <= NEAR_K:
        return None
    for turn in range(round(scenario.hours * HOUR_S / TICK_S)):
        hour = turn * TICK_S / HOUR_S
        if scenario.target_c(hour) - plant.beer_c <= NEAR_K:
            return turn * TICK_S
        heat = not (scenario.has_pad_probe and plant.pad_c >= PAD_C_MAX)
        plant.step(TICK_S, heat, False, scenario.garage(hour), scenario.ferment(hour))
    return None
