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
SHORT_K = 0.4  # Why: six steps of the probe beyond the slack; a lid lifted for minutes stays below.
SURPLUS_K = 0.2  # Why: three steps of the probe beyond the slack.


@dataclass(frozen=True, slots=True)
class Balance:
    """What has been learned, and how far the beer is off it.

    Args:
        loss_w: what this vessel loses beyond what its ferment gives.
        known_s: for how long that has been learned.
        short_k: how far the beer has stayed behind.
        surplus_k: how far it has gone beyond.
    """

    loss_w: float = 0.0
    known_s: float = 0.0
    short_k: float = 0.0
    surplus_k: float = 0.0

    @property
    def known_loss_w(self) -> float | None:
        """What this vessel loses; None while that is not known."""
        return self.loss_w if self.known_s >= KNOWN_S else None

    def rested(self) -> Balance:
        """What was learned, without what was summed."""
        return Balance(self.loss_w, self.known_s) if self.short_k or self.surplus_k else self


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
    off_w = vessel.pad_w * duty - vessel.capacity_j_per_k * slope - balance.loss_w
    short_k = surplus_k = 0.0
    if balance.known_s >= KNOWN_S:
        slack_w, per_w = SLACK_SHARE * vessel.pad_w, dt_s / vessel.capacity_j_per_k
        short_k = min(max(0.0, balance.short_k + (off_w - slack_w) * per_w), 2.0 * SHORT_K)
        surplus_k = min(max(0.0, balance.surplus_k - (off_w + slack_w) * per_w), 2.0 * SURPLUS_K)
    known_s = balance.known_s + dt_s
    is_doubted = short_k > 0.5 * SHORT_K or surplus_k > 0.5 * SURPLUS_K
    span_s = DOUBTED_S if is_doubted else min(known_s, LEARN_S)
    loss_w = balance.loss_w + off_w * dt_s / span_s
    found = (Finding.HEAT_FALLS_SHORT,) if short_k > SHORT_K else ()
    return Balance(loss_w, known_s, short_k, surplus_k), found
