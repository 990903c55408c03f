"""Rehearsal: before pitching, whether this pad will hold this profile in the garage to come.

The vessel is the one that was learned. It is run twice: as it most likely is, and as leaky as it
may be (the upper end of the 95 % interval), because a plan that only just works is no plan.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from controller.errors import SettingsError
from controller.relearn import relearned
from controller.settings import Settings
from controller.simulation.simulate import Garage, Show, simulate
from controller.thermal.learned import Learned

INTERVAL_SDS = 1.96  # Source: 95 % of a normal distribution.
LOOK_BACK_DAYS = 14.0  # Why: a batch; what is older was perhaps another jacket.


def learned_in(folder: Path, settings: Settings) -> Learned:
    """What a chamber's journal tells of the vessel in these settings.

    Raises:
        DiskError: there is no journal.
        SettingsError: it is of another vessel, or tells nothing yet.
    """
    try:
        found = relearned(folder, LOOK_BACK_DAYS, None)
    except SettingsError:
        found = relearned(folder, LOOK_BACK_DAYS, settings.vessel)
    told, meant = found.described.in_words(), settings.vessel.in_words()
    if told != meant:
        raise SettingsError(
            f"The journal in {folder} is of another vessel ({told}) than the settings ({meant}).",
            "Name the settings and the journal of one chamber.",
        )
    return found.learned


def rehearse(settings: Settings, garage: Garage, show: Show) -> dict[str, float | int | None]:
    """The score of the likely run, with what the worst likely one adds.

    Raises:
        DiskError: the journal's folder cannot be used.
    """
    score = simulate(settings, garage, replace(show, journal=show.journal / "likely"))
    learned = garage.learned
    if learned is None:
        return score
    # Why: an error of the scale moves loss and pad together and changes nothing that can be held.
    leakier = learned.loss_w_per_k * (1.0 + INTERVAL_SDS * learned.share_sd)
    worst = replace(garage, learned=replace(learned, loss_w_per_k=leakier))
    other = simulate(settings, worst, replace(show, journal=show.journal / "worst", truth=None))
    return score | {
        "can_hold_at_worst": other["can_hold"],
        "not_held_at_worst_h": other["not_held_h"],
        "energy_at_worst_kwh": other["energy_kwh"],
    }
