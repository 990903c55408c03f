"""Plausibility: which readings are believed. (First stage.)

It admits what is finite, in range for its role, not jumping and not old, and says why it does not.
A value is carried for at most `AGE_S_MAX`; after that it takes three good readings in a row to be
believed again. It decides nothing about relays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.decision.vocabulary import Evidence, Fault, Moment, Reading, Role, Sensed

# Why: in 60 s the strongest sane pad moves the beer by less than 0.5 K, and the loss by 0.1 K.
AGE_S_MAX = 60.0
# Why: no beer or garage moves 1 K in 10 s; a probe whose neighbour was swapped does. A bare pad of
# 100 W and half a kJ/K gains 2 K in that time.
JUMP_K_MIN = 1.0
JUMP_K_PER_S_MAX = {Role.BEER: 0.1, Role.GARAGE: 0.1, Role.AIR: 0.1, Role.PAD: 0.5}
# Why: one good reading may be chance (a damaged frame passes the checksum once in 256).
PROOFS_MIN = 3
# Source: range of a liquid ferment, of a pad under fault and of a garage (common practice, no
# source); all lie inside the DS18B20's -55 to 125 °C.
RANGE_C = {
    Role.BEER: (-20.0, 60.0),
    Role.GARAGE: (-40.0, 60.0),
    Role.AIR: (-40.0, 90.0),
    Role.PAD: (-40.0, 110.0),
}
# Why: one step of a DS18B20 is 0.0625 K; over 10 min least squares turns that into under 0.1 K/h.
TREND_EVERY_S = 30.0
TREND_POINTS = 20
TREND_POINTS_MIN = 10
CHANGE_POINTS = 10  # Why: ten points 30 s apart are the 5 min over which a lost probe shows.


@dataclass(frozen=True, slots=True)
class SensedMemory:
    """What is remembered of one probe."""

    value_c: float | None = None
    value_mono_s: float = -math.inf
    doubted_c: float | None = None
    proofs: int = 0
    trend: tuple[tuple[float, float], ...] = ()
    slope_k_per_s: float | None = None


@dataclass(frozen=True, slots=True)
class PlausibilityMemory:
    """What is remembered of each probe, in the order of `Role`."""

    probes: tuple[SensedMemory, ...] = (SensedMemory(),) * len(Role)


def sense(
    memory: PlausibilityMemory, readings: Sequence[Reading], now: Moment
) -> tuple[PlausibilityMemory, Evidence]:
    """What is believed now, from the readings of this tick (a role without a reading is not
    fitted).
    """
    by_role = {reading.role: reading for reading in readings}
    probes: list[SensedMemory] = []
    sensed: dict[str, Sensed] = {}
    for role, remembered in zip(Role, memory.probes, strict=True):
        reading = by_role.get(role)
        if reading is None:
            probes.append(SensedMemory())
            continue
        remembered, fault = _judge(remembered, reading, now)
        probes.append(remembered)
        sensed[role.value] = _belief(remembered, fault, now)
    return PlausibilityMemory(tuple(probes)), Evidence(**sensed)


def _judge(
    memory: SensedMemory, reading: Reading, now: Moment
) -> tuple[SensedMemory, Fault | None]:
    value_c = reading.value_c
    if value_c is None:
        return replace(memory, proofs=0, doubted_c=None), reading.fault
    low_c, high_c = RANGE_C[reading.role]
    if not low_c <= value_c <= high_c:  # Why: also False for a value that is not a number.
        return replace(memory, proofs=0, doubted_c=None), Fault.OUT_OF_RANGE
    known = memory.value_c is not None and now.mono_s - memory.value_mono_s <= AGE_S_MAX
    anchor_c = memory.value_c if known else None
    if anchor_c is not None and _near(anchor_c, value_c, reading, memory.value_mono_s):
        return _accept(memory, reading, value_c), None
    return _prove(memory, reading, value_c, Fault.JUMPED if known else Fault.UNPROVEN)


def _near(anchor_c: float, value_c: float, reading: Reading, anchor_mono_s: float) -> bool:
    allowed_k = max(
        JUMP_K_MIN, JUMP_K_PER_S_MAX[reading.role] * (reading.taken_mono_s - anchor_mono_s)
    )
    return abs(value_c - anchor_c) <= allowed_k


def _prove(
    memory: SensedMemory, reading: Reading, value_c: float, doubt: Fault
) -> tuple[SensedMemory, Fault | None]:
    """A value far from what was believed counts once it has been seen three times in a row."""
    agrees = memory.doubted_c is not None and abs(value_c - memory.doubted_c) <= JUMP_K_MIN
    proofs = memory.proofs + 1 if agrees else 1
    if proofs >= PROOFS_MIN:
        return _accept(replace(memory, trend=(), slope_k_per_s=None), reading, value_c), None
    return replace(memory, doubted_c=value_c, proofs=proofs), doubt


def _accept(memory: SensedMemory, reading: Reading, value_c: float) -> SensedMemory:
    taken = reading.taken_mono_s
    trend = memory.trend
    slope = memory.slope_k_per_s
    if not trend or taken - trend[-1][0] >= TREND_EVERY_S:
        if trend and taken - trend[-1][0] > AGE_S_MAX:
            trend = ()
        trend = (*trend[-(TREND_POINTS - 1) :], (taken, value_c))
        slope = _slope(trend)
    return SensedMemory(value_c, taken, None, 0, trend, slope)


def _slope(trend: Sequence[tuple[float, float]]) -> float | None:
    """Least-squares slope in K/s; None while there are too few points."""
    count = len(trend)
    if count < TREND_POINTS_MIN:
        return None
    first_s = trend[0][0]
    mean_s = sum(at - first_s for at, _ in trend) / count
    mean_c = sum(value for _, value in trend) / count
    spread = sum((at - first_s - mean_s) ** 2 for at, _ in trend)
    return sum((at - first_s - mean_s) * (value - mean_c) for at, value in trend) / spread


def _belief(memory: SensedMemory, fault: Fault | None, now: Moment) -> Sensed:
    age_s = now.mono_s - memory.value_mono_s
    if memory.value_c is None or age_s > AGE_S_MAX:
        return Sensed(age_s=age_s, fault=fault, fitted=True)
    change_k = memory.value_c - memory.trend[-CHANGE_POINTS:][0][1]  # Why: accepting adds a point.
    return Sensed(memory.value_c, age_s, memory.slope_k_per_s, change_k, fault, fitted=True)
