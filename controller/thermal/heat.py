"""Heat: the ferment's own watts, from the energy balance, with how sure that is.

What the pad gives and the beer stores beyond what the jacket loses must come from the ferment. The
filter (`bank.py`) knows its own noise; this adds what it cannot know, the loss's error of a day,
and says when the figure tells anything. It judges no ferment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# Source: daily wander of the apparent loss on a plant with five nodes (this project's garage,
# garage swinging by 4 K): 1.2 % of it; lids and draughts of real garages are no better.
LOSS_WANDER = 0.02


@dataclass(frozen=True, slots=True)
class Heat:
    """The ferment's own heat and its standard deviation, in W."""

    ferment_w: float
    ferment_sd_w: float

    @property
    def is_telling(self) -> bool:
        """Whether it differs from nothing by more than chance."""
        return self.ferment_w > 2.0 * self.ferment_sd_w


def ferment_heat(filtered_w: float, filtered_sd_w: float, loss_w: float) -> Heat:
    """The heat of the ferment.

    Args:
        filtered_w: what the filter says; may be a little below 0.
        filtered_sd_w: its standard deviation.
        loss_w: what the jacket loses at the same time; the sign does not matter.
    """
    return Heat(max(filtered_w, 0.0), math.hypot(filtered_sd_w, LOSS_WANDER * loss_w))
