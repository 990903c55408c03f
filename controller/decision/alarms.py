"""Alarms: what a person must be told, and when it stops being so. (Eighth stage.)

An alarm always asks for an action and only ever tells: what must stop something is an interlock.
Each is a row of `RULES` with a priority and delays; it is raised when its condition has held for
the on-delay and cleared when it has been absent for the off-delay, and both are dated by when that
began. A root cause keeps the alarms that follow from it quiet (ISA-18.2: suppressed by design).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from controller.bounded import setting
from controller.decision.vocabulary import (
    Applied,
    Evidence,
    Moment,
    Priority,
    Sensed,
    Target,
    Transition,
)

# Source: ISA-18.2 starting points for temperature (from memory): 60 s delays, deadband 1 % of
# range.
DELAY_S = 60.0
DEADBAND_K = 0.3
DRIFT_DELAY_S = 600.0  # Why: a lid lifted for a minute is not a drift.
REACH_DELAY_S = 600.0  # Why: a gust through the door is not a night.
CLOCK_DELAY_S = 3600.0  # Why: a router takes its time after a power cut.
STARTS_MAX = 80_000  # Source: 80 % of the 100 000 operations relay catalogues give (from memory).


@dataclass(frozen=True, slots=True)
class AlarmSettings:
    """When the brewer wants to be told."""

    drift_k: float = setting(
        "how far the beer may drift from its target before it is an alarm",
        unit="K",
        default=1.0,
        low=0.5,
        high=10.0,
    )


@dataclass(frozen=True, slots=True)
class Strain:
    """How hard it is to control; `hold_duty` above 1 means the pad cannot hold the target."""

    phase: str = "idle"
    hold_duty: float | None = None
    is_late: bool = False
    trips: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Situation:
    """All an alarm's condition may look at."""

    settings: AlarmSettings
    evidence: Evidence
    applied: Applied
    target: Target | None
    strain: Strain
    now: Moment

    @property
    def above_k(self) -> float:
        """How far the beer is above its target band; below 0 when it is below it, else 0."""
        beer_c = self.evidence.beer.value_c
        if beer_c is None or self.target is None:
            return 0.0
        return beer_c - self.target.nearest(beer_c)


@dataclass(frozen=True, slots=True)
class AlarmRule:
    """One alarm.

    Args:
        code: its name everywhere.
        priority: how soon a person must act.
        holds: whether its condition holds; given whether it stands, for the deadband.
        text: what is wrong, for a person.
        remedy: what to do.
        on_delay_s: how long it must hold before it is raised.
        off_delay_s: how long it must be absent before it is cleared.
        below: the root causes under which it stays quiet.
    """

    code: str
    priority: Priority
    holds: Callable[[Situation, bool], bool]
    text: Callable[[Situation], str]
    remedy: str
    on_delay_s: float = DELAY_S
    off_delay_s: float = DELAY_S
    below: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AlarmMemory:
    """For each rule, in order: whether it stands, and since when its condition has disagreed."""

    stands: tuple[bool, ...] = ()
    turning_mono_s: tuple[float | None, ...] = ()


def _lost(sensed: Sensed) -> bool:
    """Whether the newest reading is not trusted; after a minute of it nothing is left to go by."""
    return sensed.fitted and sensed.fault is not None


def _fault(sensed: Sensed) -> str:
    return f" ({sensed.fault.value})" if sensed.fault else ""


def _drift_k(situation: Situation, stands: bool) -> float:
    return situation.settings.drift_k - (DEADBAND_K if stands else 0.0)


def _drift_text(situation: Situation) -> str:
    beer_c = situation.evidence.beer.value_c
    assert beer_c is not None and situation.target is not None
    side = "above" if situation.above_k > 0.0 else "below"
    return (
        f"The beer is at {beer_c:.1f} °C, {abs(situation.above_k):.1f} K {side} its target of "
        f"{situation.target.nearest(beer_c):.1f} °C."
    )


RULES: tuple[AlarmRule, ...] = (
    AlarmRule(
        "beer-probe-lost",
        Priority.HIGH,
        lambda s, _: _lost(s.evidence.beer),
        lambda s: (
            f"No trustworthy beer temperature{_fault(s.evidence.beer)}: heat and fan are off."
        ),
        "See that the beer probe is plugged in, dry and in its well.",
    ),
    AlarmRule(
        "tripped",
        Priority.HIGH,
        lambda s, _: bool(s.strain.trips),
        lambda s: f"Stopped for safety: {', '.join(s.strain.trips)}.",
        "Find the cause, then release the trip at the machine with `barmkeep run --release`.",
        on_delay_s=0.0,
        off_delay_s=0.0,
    ),
    AlarmRule(
        "pad-probe-lost",
        Priority.HIGH,
        lambda s, _: _lost(s.evidence.pad),
        lambda s: f"No trustworthy pad temperature{_fault(s.evidence.pad)}: the pad is off.",
        "See that the pad probe is plugged in, or take it out of the settings.",
    ),
    AlarmRule(
        "cannot-reach",
        Priority.MEDIUM,
        lambda s, stands: (
            s.strain.hold_duty is not None and s.strain.hold_duty > (0.97 if stands else 1.0)
        ),
        lambda s: (
            "In a garage as cold as this the pad cannot hold the target: it would need about "
            f"{100.0 * (s.strain.hold_duty or 0.0):.0f} % of its watts."
        ),
        "Add insulation or a stronger listed pad, warm the garage, or lower the target.",
        on_delay_s=REACH_DELAY_S,
        below=("beer-probe-lost", "tripped"),
    ),
    AlarmRule(
        "beer-drifting",
        Priority.MEDIUM,
        lambda s, stands: s.strain.phase == "holding" and abs(s.above_k) > _drift_k(s, stands),
        _drift_text,
        "Look at the jacket, the pad's plug and the probe; see what the garage is doing.",
        on_delay_s=DRIFT_DELAY_S,
        below=("beer-probe-lost", "tripped", "cannot-reach"),
    ),
    AlarmRule(
        "late",
        Priority.MEDIUM,
        lambda s, _: s.strain.is_late,
        lambda s: "The beer should have reached its target by now." + f" {_drift_text(s)}",
        "See that the pad is plugged in, pressed flat and under the jacket.",
        below=("beer-probe-lost", "tripped", "cannot-reach"),
    ),
    AlarmRule(
        "journal-failing",
        Priority.MEDIUM,
        lambda s, _: not s.applied.journal_ok,
        lambda s: "The journal cannot be written; control goes on and readings wait in memory.",
        "See that the disk is not full and not read-only.",
    ),
    AlarmRule(
        "garage-probe-lost",
        Priority.LOW,
        lambda s, _: _lost(s.evidence.garage),
        lambda s: f"No trustworthy garage temperature{_fault(s.evidence.garage)}: the fan is off.",
        "See that the garage probe is plugged in.",
    ),
    AlarmRule(
        "clock-not-set",
        Priority.LOW,
        lambda s, _: not s.now.synced,
        lambda s: "The clock has not been set from the network, so dates may be wrong.",
        "See that the machine reaches a time server.",
        on_delay_s=CLOCK_DELAY_S,
    ),
    AlarmRule(
        "relay-worn",
        Priority.LOW,
        lambda s, _: max(s.applied.heat_starts, s.applied.fan_starts) >= STARTS_MAX,
        lambda s: "A relay has switched as often as its kind usually lasts.",
        "Replace the relay before the next batch.",
    ),
)


def judge(
    memory: AlarmMemory, situation: Situation
) -> tuple[AlarmMemory, tuple[str, ...], tuple[Transition, ...]]:
    """The codes of the alarms that stand now, and what was raised or cleared in this tick."""
    stands_before = memory.stands or (False,) * len(RULES)
    turning_before = memory.turning_mono_s or (None,) * len(RULES)
    stands: list[bool] = []
    turning: list[float | None] = []
    codes: list[str] = []
    transitions: list[Transition] = []
    for rule, stood, since_s in zip(RULES, stands_before, turning_before, strict=True):
        quiet = any(code in codes for code in rule.below)
        holds = not quiet and rule.holds(situation, stood)
        is_up, since_s, told = _turned(rule, stood, holds, since_s, situation)
        transitions.extend(told)
        stands.append(is_up)
        turning.append(since_s)
        if is_up:
            codes.append(rule.code)
    return AlarmMemory(tuple(stands), tuple(turning)), tuple(codes), tuple(transitions)


def _turned(
    rule: AlarmRule, stood: bool, holds: bool, since_s: float | None, situation: Situation
) -> tuple[bool, float | None, tuple[Transition, ...]]:
    """Whether the alarm stands now, since when its condition disagrees, and what to tell."""
    if holds == stood:
        return stood, None, ()
    now_s = situation.now.mono_s
    since_s = now_s if since_s is None else since_s
    if now_s - since_s < (rule.on_delay_s if holds else rule.off_delay_s):
        return stood, since_s, ()
    if holds:
        told = Transition(
            rule.code, "raised", since_s, rule.text(situation), rule.remedy, rule.priority
        )
    else:
        told = Transition(rule.code, "cleared", since_s, "No longer so.", None, rule.priority)
    return holds, None, (told,)
