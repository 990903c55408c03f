"""Balance: what this very vessel loses, and whether that has suddenly changed. (Part of the effect
stage.)

The bounds of any sound vessel are wide. What one has lost over the last hours is known far better,
so a pad that stays on or stays out shows against that first. It decides nothing about relays.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Finding
from controller.decision.watching.look import Look

LEARN_S = 7200.0  # Why: over two hours a cycle, a draught and the probe's noise average out.
DOUBTED_S = 21_600.0  # Why: what is in doubt must not be learned before it is looked into.
KNOWN_S = 5400.0  # Why: eight cycles and more.
# Why: a ferment that sets in, or a garage nobody measures, changes the balance by less in an hour.
SLACK_SHARE = 0.15
# Why: five steps and a half of the probe beyond the slack; a lid lifted for minutes stays below.
SHORT_K = 0.35
SURPLUS_K = 0.16  # Why: two steps and a half of the probe beyond the slack.


@dataclass(frozen=True, slots=True)
class Balance:
    """What has been learned, and how far the beer is off it.

    Args:
        loss_w: what this vessel loses beyond what its ferment gives, in the garage as it was.
        gap_k: how much warmer than that garage the beer was; None where nothing measures it.
        known_s: for how long that has been learned.
        short_k: how far the beer has stayed behind.
        surplus_k: how far it has gone beyond.
    """

    loss_w: float = 0.0
    gap_k: float | None = None
    known_s: float = 0.0
    short_k: float = 0.0
    surplus_k: float = 0.0

    def known_loss_w(self, look: Look) -> float | None:
        """What this vessel loses now; None while that is not known."""
        return self.loss_now_w(look) if self.known_s >= KNOWN_S else None

    def loss_now_w(self, look: Look) -> float:
        """What was learned, in the garage as it is now."""
        gap_k = gap_of(look)
        if gap_k is None or self.gap_k is None:
            return self.loss_w
        return self.loss_w + look.vessel.loss_w_per_k * (gap_k - self.gap_k)

    def rested(self) -> Balance:
        """What was learned, without what was summed."""
        if not self.short_k and not self.surplus_k:
            return self
        return Balance(self.loss_w, self.gap_k, self.known_s)


def gap_of(look: Look) -> float | None:
    """How much warmer than the garage the beer is; None where one of them is not known."""
    beer_c, garage_c = look.evidence.beer.value_c, look.evidence.garage.value_c
    return None if beer_c is None or garage_c is None else beer_c - garage_c


def balanced(
    balance: Balance, look: Look, duty: float, slope: float, is_fanned: bool
) -> tuple[Balance, tuple[Finding, ...]]:
    """Learns what this vessel loses, and sums how far the beer is off that.

    Args:
        balance: as known so far.
        look: this tick.
        duty: what the pad gives the beer now, as a share.
        slope: the beer's, in K/s.
        is_fanned: whether the fan cools, or has just; then nothing is learned.
    """
    if is_fanned:
        return balance.rested(), ()
    vessel, dt_s = look.vessel, look.dt_s
    lost_w = vessel.pad_w * duty - vessel.capacity_j_per_k * slope
    off_w = lost_w - balance.loss_now_w(look)
    short_k = surplus_k = 0.0
    if balance.known_s >= KNOWN_S:
        slack_w, per_w = SLACK_SHARE * vessel.pad_w, dt_s / vessel.capacity_j_per_k
        short_k = min(max(0.0, balance.short_k + (off_w - slack_w) * per_w), 2.0 * SHORT_K)
        surplus_k = min(max(0.0, balance.surplus_k - (off_w + slack_w) * per_w), 2.0 * SURPLUS_K)
    known_s = balance.known_s + dt_s
    is_doubted = short_k > 0.5 * SHORT_K or surplus_k > 0.5 * SURPLUS_K
    span_s = DOUBTED_S if is_doubted else min(known_s, LEARN_S)
    loss_w = balance.loss_w + (lost_w - balance.loss_w) * dt_s / span_s
    gap_k, now_k = balance.gap_k, gap_of(look)
    if gap_k is None or now_k is None:
        gap_k = now_k
    else:
        gap_k += (now_k - gap_k) * dt_s / span_s
    found = (Finding.HEAT_FALLS_SHORT,) if short_k > SHORT_K else ()
    return Balance(loss_w, gap_k, known_s, short_k, surplus_k), found
