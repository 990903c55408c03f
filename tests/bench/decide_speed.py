"""How long one decision takes: python -m tests.bench.decide_speed. Prints µs, asserts nothing.

A day of ticks on the benchmark's own vessel; only the calls of decide() are timed.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from statistics import median
from time import perf_counter

from controller.decision.decide import State, decide
from controller.decision.vocabulary import Applied, Moment, Reading, Role
from tests.bench.regulation.plant import Plant
from tests.bench.regulation.rivals import Keeper
from tests.bench.regulation.scenarios import named

TICKS = 8_640


def spent_us(name: str = "cold garage") -> list[float]:
    """The time of each decision of a day, in µs."""
    scenario = named(name)
    plan, plant = Keeper(scenario).plan, Plant(scenario.plant)
    state, spent = State(), []
    for turn in range(TICKS):
        mono_s = 1_000.0 + 10.0 * turn
        garage_c = round(scenario.garage(turn / 360.0) * 16.0) / 16.0
        readings = (
            Reading(Role.BEER, mono_s, round(plant.bead_c * 16.0) / 16.0),
            Reading(Role.GARAGE, mono_s, garage_c),
        )
        now = Moment(mono_s, 1.7e9 + mono_s)
        began = perf_counter()
        state, decision = decide(plan, state, readings, now)
        spent.append(1e6 * (perf_counter() - began))
        applied = Applied(decision.command.heat, decision.command.fan)
        state = replace(state, applied=applied)
        plant.step(10.0, applied.heat, applied.fan, garage_c, scenario.ferment(turn / 360.0))
    return spent


if __name__ == "__main__":
    times = sorted(spent_us(*sys.argv[1:]))
    print(
        f"decide(): median {median(times):.0f} µs, mean {sum(times) / len(times):.0f} µs, "
        f"99 of 100 below {times[len(times) * 99 // 100]:.0f} µs ({len(times)} ticks)"
    )
