"""Learning: the vessel as it is known now. (Second stage, after plausibility.)

It feeds what was felt and switched to `thermal/learn.py` and hands on what came of it: a vessel to
steer by, one to judge switching by, and what the pad can reach. It remembers the garage, so that
the night that is coming can be judged by the last one. It switches and forbids nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Applied, Evidence, Moment, Target
from controller.thermal.learn import LearnMemory, Seen, learn
from controller.thermal.learned import Course, Learned
from controller.thermal.model import Vessel
from controller.thermal.reach import Reach, Surroundings, reach

GARAGE_FILTER_S = 1200.0  # Why: the jacket delays the garage by about as long.
# Why: last night's cold is remembered through the day, and one cold night does not stay for ever.
COLDEST_FADES_S = 2 * 86_400.0


@dataclass(frozen=True, slots=True)
class LearningMemory:
    """What this stage remembers.

    Args:
        learn: the learner's own memory.
        garage_c: the garage, smoothed; kept when its probe fails; None when never known.
        coldest_c: the coldest it was in the last day or so.
        last_mono_s: when this stage last looked; None before its first look.
    """

    learn: LearnMemory = LearnMemory()
    garage_c: float | None = None
    coldest_c: float | None = None
    last_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class Knowledge:
    """The vessel as it is known now.

    Args:
        vessel: the one to steer by.
        sound: the one to judge switching by.
        learned: what has been learned; None before the first of it.
        garage_c: the garage, smoothed; None when never known.
        coldest_c: the coldest it was in the last day or so.
    """

    vessel: Vessel
    sound: Vessel
    learned: Learned | None = None
    garage_c: float | None = None
    coldest_c: float | None = None


def know(
    course: Course, memory: LearningMemory, evidence: Evidence, applied: Applied, now: Moment
) -> tuple[LearningMemory, Knowledge]:
    """What is known of the vessel, given what the relays really did since the last tick."""
    garage = evidence.garage
    seen = Seen(
        now.mono_s, applied.heat, applied.fan, evidence.beer.value_c, garage.value_c, garage.fitted
    )
    learnt = learn(course, memory.learn, seen)
    dt_s = 0.0 if memory.last_mono_s is None else max(0.0, now.mono_s - memory.last_mono_s)
    garage_c = _drawn(memory.garage_c, garage.value_c, dt_s / GARAGE_FILTER_S)
    coldest_c = _drawn(memory.coldest_c, garage_c, dt_s / COLDEST_FADES_S)
    if garage_c is not None and coldest_c is not None:
        coldest_c = min(coldest_c, garage_c)
    known = Knowledge(
        learnt.vessel or course.vessel,
        learnt.sound or course.vessel,
        learnt.learned,
        garage_c,
        coldest_c,
    )
    return LearningMemory(learnt, garage_c, coldest_c, now.mono_s), known


def outlook(known: Knowledge, evidence: Evidence, target: Target | None) -> Reach:
    """What the pad can do for this target, in this garage."""
    learned, beer_c = known.learned, evidence.beer.value_c
    ferment_w, share_sd = 0.0, 0.0
    if learned is not None:
        share_sd = learned.share_sd
        if learned.ferment_w is not None and learned.ferment_sd_w is not None:
            ferment_w = max(0.0, learned.ferment_w - learned.ferment_sd_w)
    target_c = None if target is None else target.low_c
    return reach(
        known.vessel,
        Surroundings(beer_c, target_c, known.garage_c, known.coldest_c, ferment_w, share_sd),
    )


def _drawn(before: float | None, value: float | None, share: float) -> float | None:
    """`before` drawn towards `value`; the one that is known when the other is not."""
    if before is None or value is None:
        return value if before is None else before
    return before + (value - before) * min(1.0, share)
