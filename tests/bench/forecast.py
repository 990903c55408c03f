"""How well the forecast does on real ferments it has never seen. `python -m tests.bench.forecast`

Every forecast knows the strain's table, the original gravity, the temperatures up to its last
reading and the readings; not the batch's future, not the other batches. Two-thirds and end are
those the batch really had. Two ways to read "in the first third": readings up to a third of the
drop, and readings up to a third of the time to 95 % of it. `-v` prints every batch.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

from dashboard.fermentation.course import prior
from dashboard.fermentation.course.forecast import forecast
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.posterior import posterior_of
from dashboard.fermentation.course.prior import prior_for
from dashboard.fermentation.course.warmth import Warmth
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from dashboard.fermentation.strains import strain
from dashboard.fermentation.terminal import terminal_verdict
from tests.bench.real_batches import FILE, RealBatch, real_batches

FIRST_THIRDS: dict[str, Callable[[RealBatch], float]] = {
    "a third of the drop": lambda batch: batch.hour_of(1 / 3),
    "a third of the time": lambda batch: batch.hour_of(0.95) / 3.0,
}
HEAD = (
    "up to, how many        two thirds    | holds  width | end           | holds"
    " | straight line | average"
)
NEVER_H = 1e9


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
    low_h, high_h = moment.low_h or 0.0, NEVER_H if moment.high_h is None else moment.high_h
    final_low, final_high = plato_from_sg(final.low), plato_from_sg(final.high)
    return Outcome(
        batch=batch,
        two_thirds_error_h=(moment.middle_h or NEVER_H) - true_h,
        is_in_window=low_h <= true_h <= high_h,
        width_h=high_h - low_h,
        end_error_plato=plato_from_sg(final.middle) - batch.final_plato,
        is_end_in_window=final_low <= batch.final_plato <= final_high,
        line_error_h=line_h(batch, [(r.hour, r.plato) for r in readings]) - true_h,
        average_error_h=average_h(batch) - true_h,
        took_s=took_s,
    )


def line_h(batch: RealBatch, seen: Sequence[tuple[float, float]]) -> float:
    """Baseline: a straight line through the original and the readings, to the table's point."""
    points = [(0.0, batch.original_plato), *seen]
    mean_h = fmean(hour for hour, _ in points)
    mean = fmean(plato for _, plato in points)
    slope = sum((hour - mean_h) * (plato - mean) for hour, plato in points)
    slope /= sum((hour - mean_h) ** 2 for hour, _ in points)
    drop = batch.original_plato * batch.strain.attenuation_usual
    level = batch.original_plato - 2 / 3 * drop
    last_h, last = points[-1]
    return last_h + (last - level) / max(-slope, 0.02)


def average_h(batch: RealBatch) -> float:
    """Baseline: the strain's average course along the temperatures it had, readings unread."""
    course = prior_for(batch.strain, sg_from_plato(batch.original_plato)).course((0, 0, 0, 0))
    return batch.clock_up_to(batch.hours[-1]).hour(course.warm_h_at(2 / 3)) or NEVER_H


def ninetieth(values: Sequence[float]) -> float:
    return sorted(values)[round(0.9 * (len(values) - 1))]


def pair(errors: Sequence[float], digits: int) -> str:
    sizes = [abs(error) for error in errors]
    return f"{median(sizes):6.{digits}f} {ninetieth(sizes):6.{digits}f}"


def row(outcomes: Sequence[Outcome]) -> str:
    """One line of the table."""
    share = fmean(each.is_in_window for each in outcomes)
    ends = fmean(each.is_end_in_window for each in outcomes)
    width_h = median(each.width_h for each in outcomes)
    return (
        f"{pair([each.two_thirds_error_h for each in outcomes], 1)} | {share:5.0%} {width_h:6.1f}"
        f" | {pair([each.end_error_plato for each in outcomes], 2)} | {ends:5.0%}"
        f" | {pair([each.line_error_h for each in outcomes], 1)}"
        f" | {pair([each.average_error_h for each in outcomes], 1)}"
    )


def print_windows(whole: Sequence[RealBatch], noise_plato: float = 0.0) -> None:
    print(HEAD)
    for name, last_h in FIRST_THIRDS.items():
        for count in (2, 3, 4):
            outcomes = [outcome(each, last_h(each), count, noise_plato) for each in whole]
            print(f"{name}, {count}: {row(outcomes)}")
            for each in outcomes if "-v" in sys.argv else ():
                where = "in" if each.is_in_window else "outside"
                print(
                    f"   {each.batch.name:28} {each.two_thirds_error_h:6.1f} h {where}"
                    f" {each.width_h:.0f} h, end {each.end_error_plato:5.2f} °P"
                )


def print_without_its_own_plant(whole: Sequence[RealBatch]) -> None:
    """The one part of the prior that was chosen with such curves in view, the shape of the lag,
    taken for each plant from the other plants' batches alone.
    """
    turns: dict[str, list[float]] = {}
    for batch in whole:
        hours = [batch.hour_of(0.95) * (index + 1) / 10 for index in range(10)]
        posterior = posterior_of(
            prior_for(batch.strain, sg_from_plato(batch.original_plato)),
            [batch.reading(hour) for hour in hours],
            batch.clock_up_to(hours[-1]),
        )
        pairs = zip(posterior.weights, posterior.courses, strict=True)
        found = sum(weight * course.lag_turns for weight, course in pairs)
        turns.setdefault(batch.plant, []).append(found)
    kept = prior.LAG_TURNS
    outcomes = []
    for plant in turns:
        others = [each for other, found in turns.items() if other != plant for each in found]
        prior.LAG_TURNS = (fmean(others), stdev(others))
        print(f"{plant} with {fmean(others):.1f} ± {stdev(others):.1f}", end="; ")
        for batch in whole:
            if batch.plant == plant:
                outcomes.append([outcome(batch, find(batch), 2) for find in FIRST_THIRDS.values()])
    prior.LAG_TURNS = kept
    print()
    for index, name in enumerate(FIRST_THIRDS):
        print(f"{name}, 2: {row([each[index] for each in outcomes])}")


def print_terminal_windows(whole: Sequence[RealBatch]) -> None:
    """Two readings a day up to a share of the drop: when is it within 0.2 °P of its end?"""
    for share in (2 / 3, 0.9, 0.98):
        errors, holds = [], 0
        for batch in whole:
            last_h = batch.hour_of(share)
            count = max(2, int(last_h // 12.0))
            readings = [batch.reading(last_h * (i + 1) / count) for i in range(count)]
            original_sg = sg_from_plato(batch.original_plato)
            clock = batch.clock_up_to(last_h)
            moment = forecast(batch.strain, original_sg, readings, clock, last_h).terminal
            true_h = batch.hour_of(1.0 - 0.2 / (batch.original_plato - batch.final_plato))
            errors.append(abs((moment.middle_h or NEVER_H) - true_h))
            high_h = NEVER_H if moment.high_h is None else moment.high_h
            holds += (moment.low_h or 0.0) <= true_h <= high_h
        print(
            f"terminal gravity from {share:.0%} of the drop: {median(errors):.1f} h,"
            f" {ninetieth(errors):.1f} h; the window holds {holds / len(whole):.0%}"
        )


def called_at(batch: RealBatch, every_h: int) -> float | None:
    """When readings so far apart first prove the end; None: never."""
    hours = list(range(every_h, int(batch.hours[-1]) + 1, every_h))
    original_sg = sg_from_plato(batch.original_plato)
    for count, now_h in enumerate(hours, start=1):
        readings = [batch.reading(hour) for hour in hours[:count]]
        warmth = batch.clock_up_to(now_h).warmth
        if terminal_verdict(batch.strain, original_sg, readings, warmth).is_terminal:
            return float(now_h)
    return None


def print_calls(batches: Sequence[RealBatch]) -> None:
    """A call is false while more than 0.3 °P are still to fall."""
    for every_h in (6, 12, 24, 48):
        calls = [(batch, called_at(batch, every_h)) for batch in batches]
        made = [(batch, hour) for batch, hour in calls if hour is not None]
        false = sum(batch.at(hour) - batch.final_plato > 0.3 for batch, hour in made)
        print(
            f"a reading every {every_h:2} h: {len(made)} of {len(batches)} called, {false} falsely"
        )


def print_made_calls(each: int = 100) -> None:
    """Batches drawn from the priors and held for good, read every day with 0.1 °P of noise: the
    real series were chilled by the clock, before most could prove their end.
    """
    for slug in ("kveik", "clean-ale", "lager"):
        kind, dice = strain(slug), random.Random(4)
        warmth = Warmth(((0.0, kind.expected.usual_c),), 1e4)
        delays, false = [], 0
        for _ in range(each):
            course = prior_for(kind, 1.050).course([dice.gauss(0.0, 1.0) for _ in range(4)])
            end_h = course.warm_h_at(1.0 - 0.2 / (course.original_plato - course.final_plato))
            readings: list[Reading] = []
            for day in range(1, 60):
                plato = course.plato(24.0 * day) + dice.gauss(0.0, 0.1)
                readings.append(Reading(24.0 * day, sg_from_plato(plato)))
                if terminal_verdict(kind, 1.050, readings, warmth).is_terminal:
                    delays.append(24.0 * day - end_h)
                    false += course.plato(24.0 * day) - course.final_plato > 0.3
                    break
        print(
            f"made {slug} batches: {len(delays)} of {each} called, {false} falsely,"
            f" {median(delays):.0f} h after their end"
        )


def main() -> None:
    batches = real_batches()
    if not batches:
        print(f"The series are not at hand: {FILE}")
        return
    whole = [batch for batch in batches if batch.is_whole]
    print(f"{len(whole)} of {len(batches)} batches fermented to an end at their temperature")
    print("errors: median and 90th percentile; two thirds in h, end in °P; windows of 80 %")
    print("readings as the instrument read")
    print_windows(whole)
    print("readings with one SG point of noise added")
    print_windows(whole, 0.25)
    print("as the instrument read, the shape of the lag learnt from other plants only")
    print_without_its_own_plant(whole)
    print_terminal_windows(whole)
    print("terminal gravity over all batches")
    print_calls(batches)
    print_made_calls()


if __name__ == "__main__":
    main()
