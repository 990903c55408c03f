"""Vessel report: what a journal tells of its vessel, as text for a terminal. `barmkeep learn`.

Numbers with their 95 % intervals, how they came to be, what the pad can do, and what in the
settings or on the vessel is worth changing. It changes nothing but what it is asked to forget.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from controller.chamber import journal_folder
from controller.relearn import Point, Relearned, relearned
from controller.settings import load
from controller.thermal.learned import Learned
from controller.thermal.model import VesselSettings, vessel_of
from controller.vessel_memory import forget_learned

DAYS = 14.0  # Why: a batch; what is older was perhaps another jacket.
INTERVAL_SDS = 1.96  # Source: 95 % of a normal distribution.
COLUMNS, ROWS = 60, 9  # Why: fits a telephone turned sideways.
ODD_PAD_SHARE = 0.15  # Why: a rating and the mains together explain so much.
SLOW_DELAY_S = 700.0  # Source: 430 s for a well-pressed pad, over 900 s for a peeling one.
PAD_MARGIN = 1.5  # Why: half as much again as the coldest night takes, for the warm-up.
_LEVELS = " ▁▂▃▄▅▆▇█"


def add_arguments(learns: argparse.ArgumentParser) -> None:
    """The arguments of `barmkeep learn`, and the function that runs it."""
    learns.add_argument("folder", type=Path, nargs="?", help="a chamber's journal folder")
    learns.add_argument("--settings", type=Path, help="take the vessel from this settings file")
    learns.add_argument("--days", type=float, default=DAYS, help="how far back to read (14)")
    learns.add_argument(
        "--forget",
        type=Path,
        metavar="SETTINGS",
        help="after a change of jacket, pad or volume: this chamber learns anew at its next start",
    )
    learns.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Prints what is known of a vessel, or notes that it is to be forgotten."""
    if options.forget is not None:
        changed = load(options.forget)
        forget_learned(journal_folder(changed))
        print(f"Start {changed.chamber.name} again, and it learns its vessel anew.")
        return 0
    settings = None if options.settings is None else load(options.settings)
    folder = options.folder
    if folder is None:
        if settings is None:
            print("Name a journal folder, or --settings FILE.")
            return 2
        folder = journal_folder(settings)
    found = relearned(folder, options.days, None if settings is None else settings.vessel)
    print("\n".join(lines(found)))
    return 0


def lines(found: Relearned) -> list[str]:
    """The whole report."""
    learned = found.learned
    rows = [
        f"Vessel: {found.described.in_words()}; learned from {learned.hours:.0f} h of running.",
        "",
        _row("loss", learned.loss_w_per_k, learned.loss_sd_w_per_k, "W/K", 2),
        _row("pad gives the beer", learned.pad_w, learned.pad_sd_w, "W", 0),
        _row("shows at the probe after", learned.delay_s, learned.delay_sd_s, "s", 0),
        f"{'beer and vessel hold':>26}  {learned.capacity_j_per_k / 1000.0:.1f} kJ/K",
    ]
    if learned.ferment_w is None or learned.ferment_sd_w is None:
        rows.append(f"{'the ferment gives':>26}  not known without a garage probe")
    else:
        rows.append(_row("the ferment gives", learned.ferment_w, learned.ferment_sd_w, "W", 1))
    rows += ["", *_picture(found.points), "", *_reach(found), "", *_advice(found)]
    return rows


def _row(name: str, value: float, sd: float, unit: str, decimals: int) -> str:
    low, high = max(0.0, value - INTERVAL_SDS * sd), value + INTERVAL_SDS * sd
    shown = f"{value:.{decimals}f} {unit}"
    return f"{name:>26}  {shown:<12} 95 %: {low:.{decimals}f} to {high:.{decimals}f}"


def _picture(points: Sequence[Point]) -> list[str]:
    """The loss with its interval over the hours, and the ferment's heat below it."""
    shown = _thinned(points)
    if len(shown) < 2:
        return []
    bands = [_band(point.learned) for point in shown]
    bottom, top = min(low for low, _, _ in bands), max(high for _, _, high in bands)
    step = (top - bottom) / (ROWS - 1) or 1.0
    rows = ["loss in W/K over the hours (░ 95 %)"]
    for row in range(ROWS):
        level = top - row * step
        cells = "".join(_cell(band, level, step) for band in bands)
        rows.append(f"{level:6.2f} │{cells}")
    last_h = f"{shown[-1].hours:.0f} h"
    rows.append(f"{'':6} └{'─' * len(shown)}")
    rows.append(f"{'':6} 0{last_h:>{max(1, len(shown))}}")
    watts = [point.learned.ferment_w or 0.0 for point in shown]
    most_w = max(watts)
    if most_w > 0.0:
        marks = "".join(_LEVELS[math.ceil(8.0 * each / most_w)] for each in watts)
        rows += ["", f"ferment, up to {most_w:.1f} W", f"{'':6} │{marks}"]
    return rows


def _thinned(points: Sequence[Point]) -> list[Point]:
    columns = min(COLUMNS, len(points))
    return [points[(column + 1) * len(points) // columns - 1] for column in range(columns)]


def _band(learned: Learned) -> tuple[float, float, float]:
    value, spread = learned.loss_w_per_k, INTERVAL_SDS * learned.loss_sd_w_per_k
    return max(0.0, value - spread), value, value + spread


def _cell(band: tuple[float, float, float], level: float, step: float) -> str:
    low, value, high = band
    if abs(level - value) <= step / 2.0:
        return "█"
    return "░" if low <= level <= high else " "


def _reach(found: Relearned) -> list[str]:
    learned, target_c = found.learned, found.target_c
    lift_k = learned.pad_w / learned.loss_w_per_k
    rows = [f"This pad holds the beer {lift_k:.0f} K above the garage, and no more."]
    if target_c is not None:
        spread_k = INTERVAL_SDS * lift_k * learned.share_sd
        rows.append(
            f"It holds {target_c:.1f} °C down to a garage of {target_c - lift_k:.0f} °C "
            f"(95 %: within {spread_k:.0f} K)."
        )
    return rows


def _advice(found: Relearned) -> list[str]:
    """What is worth changing: one line each."""
    described, learned = found.described, found.learned
    rows = []
    jacket = _nearest_jacket(described, learned.loss_w_per_k)
    if learned.ferment_w is not None and jacket != described.jacket:
        rows.append(f'- vessel.jacket = "{jacket}" describes this vessel better.')
    share = learned.pad_w / described.pad_w
    if abs(share - 1.0) > ODD_PAD_SHARE:
        rows.append(
            f"- The beer gets {100.0 * share:.0f} % of vessel.pad_w: check the pad's label, the "
            "litres in vessel.volume_l, and that the pad lies flat."
        )
    if learned.delay_s > SLOW_DELAY_S:
        rows.append("- The pad's heat comes late: press it flat, without an air gap.")
    if found.target_c is not None and found.coldest_c is not None:
        needed_w = learned.loss_w_per_k * (found.target_c - found.coldest_c)
        if learned.pad_w < PAD_MARGIN * needed_w:
            rows.append(
                f"- For {found.target_c:.0f} °C in a garage of {found.coldest_c:.0f} °C choose a "
                f"listed pad of about {PAD_MARGIN * needed_w:.0f} W, or more insulation."
            )
    return ["Worth changing:", *rows] if rows else ["Nothing in the settings need change."]


def _nearest_jacket(described: VesselSettings, loss_w_per_k: float) -> str:
    def distance(jacket: str) -> float:
        usual = vessel_of(replace(described, jacket=jacket)).loss_w_per_k
        return abs(math.log(loss_w_per_k / usual))

    return min(("good", "thin", "none"), key=distance)
