"""How long a vessel needs to a new temperature, from the energy balance of one lump.

An estimate for when to expect the beer, made from what is known before; nothing is controlled by
it.
"""

from __future__ import annotations

import math

from controller.thermal.model import Vessel

NEAR_K = 0.5  # Why: an exponential never arrives; within half a kelvin a brewer says that it has.


def arrival_s(
    vessel: Vessel, beer_c: float, target_c: float, garage_c: float | None
) -> float | None:
    """Seconds until the beer is within `NEAR_K` of the target; 0 when it is, None when never.

    Warming is with the pad always on, cooling by the loss to the garage alone: the slowest a sound
    vessel could be, with or without a fan. Without a garage temperature the loss is not known:
    warming is then counted without it, and cooling is None.
    """
    left_k = abs(target_c - beer_c) - NEAR_K
    if left_k <= 0.0:
        return 0.0
    is_warming = target_c > beer_c
    if garage_c is None:
        return vessel.delay_s + left_k / vessel.rise_k_per_s if is_warming else None
    watts = vessel.pad_w if is_warming else 0.0
    final_c = garage_c + watts / vessel.loss_w_per_k
    near_c = target_c - NEAR_K if is_warming else target_c + NEAR_K
    is_beyond = final_c > near_c if is_warming else final_c < near_c
    if not is_beyond:
        return None
    tau_s = vessel.capacity_j_per_k / vessel.loss_w_per_k
    return vessel.delay_s + tau_s * math.log((beer_c - final_c) / (near_c - final_c))
