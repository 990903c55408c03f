"""Stillness: whether the beer's reading lives. (Part of the effect stage.)

A probe may give its last value for ever with every check right. Of a beer well held that cannot be
told from a good reading, so when not one step of the probe has come for ten minutes while
the pad is at work, the heat pauses: then the beer must cool, and a reading that does not follow is
frozen. It decides nothing about relays; the interlocks act on what it finds.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Finding
from controller.decision.watching.look import Look
from controller.decision.watching.warmth import sane_slopes
from controller.thermal.model import CAPACITY_HIGH_SHARE

# Why: sound probes beside a working pad seldom stand still for longer, and a short pause costs
# less than a tenth of a kelvin.
STILL_S = 600.0
DUTY_S = 3600.0  # Why: some five cycles.
DUTY_MIN = 0.05  # Why: a pad that has hardly been on leaves nothing to pause.
LAG_S = 600.0  # Why: pad, beer and well together; see `warmth.PAD_LAG_S`.
LOSS_SHARE_MIN = 0.1  # Why: below it the ferment does the heating; a steady beer is no wonder.
SURE_SHARE = 0.8  # Why: of what the balance says must have happened, as much is sure.
BLIND_SHARE = 0.5  # Why: where nothing measures the garage it may have become much warmer.
MOVED_K = 0.1875  # Why: three steps of a DS18B20; not one of them came.
# Why: a pad that just suffices must not be paused for much of its time; a reading that has moved
# when it had to is believed for as long.
PROVED_S = 10_800.0
MOVED_BOUND_K = 0.25  # Why: by the bounds of any sound vessel one more, for safety's sake.


@dataclass(frozen=True, slots=True)
class StillnessMemory:
    """What is remembered of the reading.

    Args:
        value_c: what it says. still_s: for how long it has.
        proved_s: how long ago it has last moved after a pause.
        duty: share of the pad over about an hour. duty_lagged: behind by the pad's lag.
        fallen_k: how far the beer must have cooled since the heat paused for it.
        risen_k: by how much it must have risen by the bounds of any sound vessel.
    """

    value_c: float | None = None
    still_s: float = 0.0
    proved_s: float = PROVED_S
    duty: float = 0.0
    duty_lagged: float = 0.0
    fallen_k: float = 0.0
    risen_k: float = 0.0


def watch(
    memory: StillnessMemory, look: Look, loss_w: float | None
) -> tuple[StillnessMemory, tuple[Finding, ...]]:
    """Whether the reading stands still against what the pad and the loss must have done.

    Args:
        memory: of the reading.
        look: this tick.
        loss_w: what this vessel loses beyond what its ferment gives; None while not known.
    """
    beer_c, heat, pad_w = look.evidence.beer.value_c, look.applied.heat, look.vessel.pad_w
    duty = memory.duty + (float(heat) - memory.duty) * look.dt_s / DUTY_S
    lagged = memory.duty_lagged + (float(heat) - memory.duty_lagged) * look.dt_s / LAG_S
    proved_s = memory.proved_s + look.dt_s
    if beer_c is None or beer_c != memory.value_c:
        has_proved = beer_c is not None and memory.fallen_k > 0.0
        return StillnessMemory(beer_c, 0.0, 0.0 if has_proved else proved_s, duty, lagged), ()
    least, _ = sane_slopes(look, lagged, beer_c)
    still_s = memory.still_s + look.dt_s
    risen_k = memory.risen_k + max(0.0, least) * look.dt_s
    fallen_k, found = 0.0, None
    loss_w = loss_w or 0.0
    is_at_work = duty >= DUTY_MIN and loss_w >= LOSS_SHARE_MIN * pad_w
    if still_s >= STILL_S and proved_s >= PROVED_S and is_at_work:
        capacity_j_per_k = CAPACITY_HIGH_SHARE * look.vessel.capacity_j_per_k
        is_blind = look.evidence.garage.value_c is None
        lost_w = (BLIND_SHARE if is_blind else SURE_SHARE) * loss_w - pad_w * lagged
        fallen_k = max(0.0, memory.fallen_k + lost_w / capacity_j_per_k * look.dt_s)
        found = Finding.BEER_STILL
    if still_s >= STILL_S and (fallen_k > MOVED_K or risen_k > MOVED_BOUND_K):
        found = Finding.BEER_FROZEN
    memory = StillnessMemory(beer_c, still_s, proved_s, duty, lagged, fallen_k, risen_k)
    return memory, () if found is None else (found,)
