"""The one trip that may let itself go: a probe that fell out of its well and has been put back.

A brewer takes the probe out to draw a sample, and must not find a cold batch in the morning. The
trip ends by itself only on strong evidence: within two hours, the probe has read for ten minutes
what the beer can be by now, steadily, and well above the garage. After a restart it stays latched,
because what the beer was before is not known then. Part of the interlocks; nothing else is
released so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.decision.vocabulary import Evidence, Moment

CODE = "fall-too-fast"
# Why: a bare small vessel cools by 7 K/h at 30 K above its garage; nothing wrapped is faster.
COOLING_K_PER_H_MAX = 8.0
ABOVE_BEFORE_K_MAX = 0.5  # Why: beer that was not heated has not warmed by more in two hours.
BACK_S_MIN = 600.0  # Why: a hand or a warm rag is not kept at one temperature for so long.
AWAY_S_MAX = 7200.0  # Why: later the beer could be anywhere a garage is.
STEADY_K_IN_5_MIN = 0.7  # Why: beer moves by this at most; a probe on its way moves by kelvins.
ABOVE_GARAGE_K_MIN = 3.0  # Why: nearer than this it may be the garage that is read.


@dataclass(frozen=True, slots=True)
class Fallen:
    """What the beer was before the fall, when that was, and since when the probe reads it again."""

    before_c: float
    at_mono_s: float
    back_mono_s: float | None = None


def fallen(evidence: Evidence, now: Moment) -> Fallen | None:
    """What to remember when the trip is set; None when there is no reading to go by.

    A fall all at once begins the trend anew, so that what the beer was before is not known.
    """
    beer = evidence.beer
    if beer.value_c is None or beer.change_k >= 0.0:
        return None
    return Fallen(beer.value_c - beer.change_k, now.mono_s)


def looked_for(memory: Fallen, evidence: Evidence, now: Moment) -> tuple[Fallen, bool]:
    """The memory brought up to now, and whether the probe is back for certain."""
    if not _reads_the_beer(memory, evidence, now):
        return replace(memory, back_mono_s=None), False
    since_s = now.mono_s if memory.back_mono_s is None else memory.back_mono_s
    return replace(memory, back_mono_s=since_s), now.mono_s - since_s >= BACK_S_MIN


def _reads_the_beer(memory: Fallen, evidence: Evidence, now: Moment) -> bool:
    beer, garage_c = evidence.beer, evidence.garage.value_c
    away_s = now.mono_s - memory.at_mono_s
    if beer.value_c is None or away_s > AWAY_S_MAX or abs(beer.change_k) > STEADY_K_IN_5_MIN:
        return False
    if garage_c is not None and beer.value_c - garage_c < ABOVE_GARAGE_K_MIN:
        return False
    coldest_c = memory.before_c - ABOVE_BEFORE_K_MAX - COOLING_K_PER_H_MAX * away_s / 3600.0
    return coldest_c <= beer.value_c <= memory.before_c + ABOVE_BEFORE_K_MAX
