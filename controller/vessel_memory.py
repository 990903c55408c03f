"""Vessel memory: what was learned of a vessel, told in every tick and recalled after a restart.

What was learned belongs to a vessel as the settings describe it; with other litres, watts or
jacket, or after a person has said so, learning begins anew. It learns nothing itself.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from controller.decision.decide import Plan, State
from controller.decision.learning import LearningMemory
from controller.decision.vocabulary import Decision
from controller.errors import DiskError
from controller.thermal.learn import recalled
from controller.thermal.learned import remembered
from controller.wire import Tick

FORGET_NOTE = "forget-learned"


def known(decision: Decision) -> dict[str, float | None]:
    """The fields of a tick that say what is known, each rounded to what it is good for."""
    learned, reach = decision.learned, decision.reach
    fields = {
        "reach_garage_c": _rounded(reach.garage_c, 1),
        "reach_beer_c": _rounded(reach.beer_c, 1),
        "hours_to_target": _rounded(reach.hours_to_target, 1),
    }
    if learned is None:
        return fields
    return fields | {
        "loss_w_per_k": _rounded(learned.loss_w_per_k, 4),
        "loss_w_per_k_sd": _rounded(learned.loss_sd_w_per_k, 4),
        "pad_learned_w": _rounded(learned.pad_w, 2),
        "pad_learned_w_sd": _rounded(learned.pad_sd_w, 2),
        "delay_s": _rounded(learned.delay_s, 0),
        "ferment_w": _rounded(learned.ferment_w, 2),
        "ferment_w_sd": _rounded(learned.ferment_sd_w, 2),
        "learned_h": _rounded(learned.hours, 1),
    }


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(value, decimals)


def recalling(plan: Plan, state: State, last: Tick | None, vessel: str | None) -> State:
    """The state with what an earlier life had learned, when it was of the same vessel.

    Args:
        plan: the settings.
        state: the state to start from.
        last: the last tick of the earlier life; None when there is none.
        vessel: what the settings say of the vessel, as `Tick.vessel`.
    """
    if last is None or last.vessel != vessel:
        return state
    if last.loss_w_per_k is None or last.pad_learned_w is None or last.delay_s is None:
        return state
    ferment = (last.ferment_w, last.ferment_w_sd)
    learned = remembered(
        plan.regulator.vessel,
        (last.loss_w_per_k, last.loss_w_per_k_sd or 0.0),
        (last.pad_learned_w, last.pad_learned_w_sd or 0.0),
        last.delay_s,
        ferment,
        last.learned_h or 0.0,
    )
    return replace(state, learning=LearningMemory(recalled(plan.course, learned)))


def forget_learned(folder: Path) -> Path:
    """Notes in a chamber's journal folder that what was learned is void; its next start reads it.

    Raises:
        DiskError: the note cannot be written.
    """
    note = folder / FORGET_NOTE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        note.touch()
    except OSError as error:
        raise DiskError(
            f"{note} cannot be written ({error.strerror}).",
            "Run this as the user the chamber runs as.",
        ) from error
    return note


def is_to_forget(folder: Path) -> bool:
    """Whether such a note was left; it counts once."""
    note = folder / FORGET_NOTE
    if not note.exists():
        return False
    note.unlink()
    return True
