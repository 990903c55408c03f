"""How well the forecast does on real ferments it has never seen. `python -m tests.bench.forecast`

Every forecast knows the strain's table, the original gravity, the temperatures up to its last
reading and the readings; not the batch's future, not the other batches. Two-thirds and end are
those the batch really had. Two ways to read "in the first third": readings up to a third of the
drop, and readings up to a third of the time to 95 % of it.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from dashboard.fermentation.attenuation import expected_final_sg
from dashboard.fermentation.course.forecast import forecast
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.prior import prior_for
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from tests.bench.real_batches import FILE, RealBatch, real_batches

FIRST_THIRDS = {
    "a third of the drop": lambda batch: batch.hour_of(1 / 3),
    "a third of the time": lambda batch: batch.hour_of(0.95) / 3.0,
}


@dataclass(frozen=True)
class Outcome:
    batch: RealBatch
    two_thirds_error_h: float
    is_in_window: bool
    width_h: float
    end_error_plato: float
    is_end_in_window: bool
    line_error_h: float
    average_error_h: float
    took_s: float


def outcome(batch: RealBatch, last_h: float, count: int, noise_plato: float = 0.0) -> Outcome:
    """Readings at equal distances from pitching to `last_h`, off by a normal of this sd."""
    dice = random.Random(f"{batch.name} {count}")
    readings = []
    for index in range(count):
        true = batch.reading(last_h * (index + 1) / count)
        off = dice.gauss(0.0, noise_plato) if noise_plato else 0.0
        readings.append(Reading(true.hour, sg_from_plato(true.plato + off)))
    original_sg = sg_from_plato(batch.original_plato)
    began_s = time.perf_counter()
    said = forecast(batch.strain, original_sg, readings, batch.clock_up_to(last_h), last_h)
    took_s = time.perf_counter() - began_s
    true_h = batch.hour_of(2 / 3)
    moment, final = said.two_thirds, said.final_sg
    low_h, high_h = moment.low_h or 0.0, moment.high_h if moment.high_h is not None else 1e9
    final_low, final_high = plato_from_sg(final.low), plato_from_sg(final.high)
    return Outcome(
        batch=batch,
        two_thirds_error_h=(moment.middle_h or 1e9) - true_h,
        is_in_window=low_h <= true_h <= high_h,
        width_h=high_h - low_h,
        end_error_plato=plato_from_sg(final.middle) - batch.final_plato,
        is_end_in_window=final_low <= batch.final_plato <= final_high,
        line_error_h=line_h(batch, [(r.hour, r.plato) for r in readings]) - true_h,
        average_error_h=average_h(batch) - true_h,
        took_s=took_s,
    )


def line_h(batch: RealBatch, seen: Sequence[tuple[float, float]]) -> float:
    """Baseline: a straight line through the original and the readings, to the point of the table."""
    points = [(0.0, batch.original_plato), *seen]
    mean_h = sum(h for h, _ in points) / len(points)
    mean = sum(p for _, p in points) / len(points)
    slope = sum((h - mean_h) * (p - mean) for h, p in points)
    slope /= sum((h - mean_h) ** 2 for h, _ in points)
    drop = batch.original_plato * batch.strain.attenuation_usual
    level = batch.original_plato - 2 / 3 * drop
    last_h, last = points[-1]
    return last_h + (last - level) / max(-slope, 0.02)


def average_h(batch: RealBatch) -> float:
    """Baseline: the strain's average course along the temperatures it had, readings unread."""
    course = prior_for(batch.strain, sg_from_plato(batch.original_plato)).course((0, 0, 0, 0))
    return batch.clock_up_to(batch.hours[-1]).hour(course.warm_h_at(2 / 3)) or 1e9


def ninetieth(values: Sequence[float]) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, round(0.9 * (len(ordered) - 1)))]


def row(outcomes: Sequence[Outcome]) -> str:
    """One line of the table."""

    def pair(errors: Sequence[float], digits: int) -> str:
        sizes = [abs(error) for error in errors]
        return f"{median(sizes):6.{digits}f} {ninetieth(sizes):6.{digits}f}"

    share = sum(each.is_in_window for each in outcomes) / len(outcomes)
    ends = sum(each.is_end_in_window for each in outcomes) / len(outcomes)
    return (
        f"{pair([o.two_thirds_error_h for o in outcomes], 1)} | {share:5.0%}"
        f" {median(o.width_h for o in outcomes):6.1f} | {pair([o.end_error_plato for o in outcomes], 2)}"
        f" | {ends:5.0%} | {pair([o.line_error_h for o in outcomes], 1)}"
        f" | {pair([o.average_error_h for o in outcomes], 1)}"
    )


def print_each(outcomes: Sequence[Outcome]) -> None:
    for each in outcomes:
        print(
            f"   {each.batch.name:28} {each.two_thirds_error_h:6.1f} h"
            f" {'in' if each.is_in_window else 'outside'} {each.width_h:.0f} h,"
            f" end {each.end_error_plato:5.2f} °P, {each.took_s:.2f} s"
        )


def main() -> None:
    batches = real_batches()
    if not batches:
        print(f"The series are not at hand: {FILE}")
        return
    whole = [batch for batch in batches if batch.is_whole]
    print(f"{len(whole)} of {len(batches)} batches fermented to an end at their temperature")
    print("errors: median and 90th percentile; two thirds in h, end in °P; windows of 80 %")
    for noise_plato, words in (
        (0.0, "as the instrument read"),
        (0.25, "one SG point of noise added"),
    ):
        print(f"readings {words}")
        print(
            f"{'up to, how many':22} two thirds    | holds  width | end           | holds", end=""
        )
        print(" | straight line | average")
        for name, last_h in FIRST_THIRDS.items():
            for count in (2, 3, 4):
                outcomes = [outcome(each, last_h(each), count, noise_plato) for each in whole]
                print(f"{name}, {count}: {row(outcomes)}")
                if "-v" in sys.argv:
                    print_each(outcomes)


if __name__ == "__main__":
    main()
