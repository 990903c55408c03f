"""The table: every measure of every rival, over the bound, as text."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean

from tests.bench.regulation.bound import bound
from tests.bench.regulation.rivals import RIVALS
from tests.bench.regulation.scenarios import HOUR_S, Scenario
from tests.bench.regulation.trial import Tally, run

HEADING = (
    f"{'':26}{'excess':>7}{'bound':>6}{'RMSE':>7}{'over':>6}{'under':>6}{'near':>6}{'warm-up':>8}"
    f"{'edges':>6}{'<30 s':>6}{'close':>6}{'kWh':>6}{'pad':>5}{'trips':>6}\n"
    f"{'':26}{'mK':>7}{'mK':>6}{'K':>7}{'K':>6}{'K':>6}{'%':>6}{'x best':>8}"
    f"{'/h':>6}{'':>6}{'':>6}{'':>6}{'°C':>5}{'':>6}"
)


@dataclass(frozen=True, slots=True)
class Row:
    """One rival on one scenario (one seed)."""

    scenario: Scenario
    rival: str
    tally: Tally

    @property
    def excess_mk(self) -> float:
        best = bound(self.scenario).iae_k_s
        return 1e3 * (self.tally.iae_k_s - best) / (self.scenario.hours * HOUR_S)

    @property
    def bound_mk(self) -> float:
        return 1e3 * bound(self.scenario).iae_k_s / (self.scenario.hours * HOUR_S)

    @property
    def warm_up(self) -> float | None:
        best_s, had_s = bound(self.scenario).arrival_s, self.tally.arrived_s
        if self.scenario.bias_k:
            return None  # Where the probe is wrong, arriving is a matter of luck.
        return None if best_s is None or had_s is None else had_s / best_s

    @property
    def edges_per_h(self) -> float:
        return self.tally.edges / self.scenario.hours


def measured(scenario: Scenario, rival: str) -> Row:
    """This rival driven through this scenario."""
    return Row(scenario, rival, run(scenario, RIVALS[rival](scenario)))


def line(name: str, rows: Sequence[Row]) -> str:
    """The mean of these rows; the worst of what must never be, and of overshoot and pad."""
    tallies = [row.tally for row in rows]
    ups = [row.warm_up for row in rows if row.warm_up is not None]
    within = fmean(100.0 * t.near_s / t.held_s if t.held_s else 0.0 for t in tallies)
    held = [t.rmse_k for t in tallies if t.held_s]
    return (
        f"{name:26}{fmean(r.excess_mk for r in rows):7.0f}{fmean(r.bound_mk for r in rows):6.0f}"
        f"{fmean(held) if held else float('nan'):7.3f}{max(t.over_k for t in tallies):6.2f}"
        f"{max(t.under_k for t in tallies):6.2f}{within:6.1f}"
        + (f"{fmean(ups):8.2f}" if ups else f"{'-':>8}")
        + f"{max(r.edges_per_h for r in rows):6.1f}{sum(t.short_dwells for t in tallies):6d}"
        f"{sum(t.too_close for t in tallies):6d}{fmean(t.energy_j for t in tallies) / 3.6e6:6.2f}"
        f"{max(t.pad_c_max for t in tallies):5.0f}{sum(t.trips for t in tallies):6d}"
    )


def _calm_rmse_k(row: Row) -> float:
    return row.tally.calm_rmse_k


@dataclass(frozen=True, slots=True)
class Aim:
    """One figure to reach: where it counts, how it is measured, and what it may be at most."""

    name: str
    counts: Callable[[Row], bool]
    value: Callable[[Row], float]
    most: Callable[[Row], float]


AIMS = (
    Aim("RMSE K", lambda r: r.scenario.is_able, _calm_rmse_k, lambda r: r.scenario.rmse_k_max),
    Aim(
        "overshoot K",
        lambda r: r.scenario.is_able,
        lambda r: r.tally.over_k,
        lambda r: r.scenario.overshoot_k_max,
    ),
    Aim("warm-up x", lambda r: r.warm_up is not None, lambda r: r.warm_up or 0.0, lambda _: 1.10),
    Aim("edges/h", lambda _: True, lambda r: r.edges_per_h, lambda _: 12.0),
    Aim("dwells < 30 s", lambda _: True, lambda r: r.tally.short_dwells, lambda _: 0.0),
    Aim("heat/fan close", lambda _: True, lambda r: r.tally.too_close, lambda _: 0.0),
)


def verdicts(rows: Sequence[Row]) -> list[str]:
    """Each figure to reach: in how many runs it was, the worst run, and the mean excess."""
    lines = []
    for aim in AIMS:
        counted = [row for row in rows if aim.counts(row)]
        if not counted:
            continue
        held = [row for row in counted if aim.value(row) <= aim.most(row) + 1e-9]
        worst = max(counted, key=lambda row: aim.value(row) - aim.most(row))
        lines.append(
            f"{aim.name:16}{len(held):4d} of {len(counted):<4d} worst {aim.value(worst):.3f} "
            f"against {aim.most(worst):g} ({worst.scenario.name}, vessel {worst.scenario.seed})"
        )
    true = [row for row in rows if not row.scenario.bias_k]
    means = [fmean(row.excess_mk for row in some) for some in (rows, true) if some]
    told = f"{means[0]:.0f} mK against 50"
    told += f"; {means[-1]:.0f} mK where the probe tells the truth" if len(means) > 1 else ""
    return [*lines, f"{'excess mean':16}{told}"]
