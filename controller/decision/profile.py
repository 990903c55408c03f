"""Profile: where the beer should be now. (Fourth stage.)"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a fermentation procedure.

    Args:
        name: for people.
        start_c: the target when the step begins, in °C.
        end_c: the target when it ends; different from `start_c` it is a ramp over `hold_s`, or with
            `free_rise` the ceiling up to which the beer may warm itself.
        hold_s: how long the step lasts, in s; None: until `end_sg`, or for good.
        end_sg: the specific gravity at which the step ends, if that comes first; None: time only.
        free_rise: the beer may be anywhere from `start_c` to `end_c`, and is neither heated nor
            cooled in between.
    """

    name: str
    start_c: float
    end_c: float
    hold_s: float | None = None
    end_sg: float | None = None
    free_rise: bool = False


@dataclass(frozen=True, slots=True)
class Profile:
    """A fermentation procedure: at least one step, the last of which holds for good."""

    name: str
    steps: tuple[Step, ...]
