"""What an alarm looks at, and what makes one: settings, strain, situation, a rule.

The rules themselves are the table in `alarm_rules.py`. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from controller.bounded import setting
from controller.decision.vocabulary import (
    Applied,
    Evidence,
    Finding,
    Moment,
    Priority,
    Target,
    off_target_k,
)
from controller.thermal.reach import Reach

DELAY_S = 60.0  # Source: ISA-18.2 starting point for temperature (from memory).


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
    """How hard it is to control; a `reach.spare_w` below 0 means the pad cannot hold the target.

    `arrival_s` is how long the beer needs to its target, None when it cannot get there; `is_held`
    says that an order holds a temperature without an end.
    """

    phase: str = "idle"
    reach: Reach = Reach()
    is_late: bool = False
    trips: tuple[str, ...] = ()
    arrival_s: float | None = None
    is_held: bool = False


@dataclass(frozen=True, slots=True)
class Situation:
    """All an alarm's condition may look at.

    The alarm stage itself fills in `is_in_transition` (the target has moved, and the beer is not
    yet due there) and `raised_lately` (alarms raised within `FLOOD_S`).
    """

    settings: AlarmSettings
    evidence: Evidence
    applied: Applied
    target: Target | None
    strain: Strain
    now: Moment
    is_in_transition: bool = False
    raised_lately: int = 0
    findings: tuple[Finding, ...] = ()

    @property
    def above_k(self) -> float:
        """How far the beer is above its target band; below 0 when it is below it, else 0."""
        return off_target_k(self.evidence, self.target)


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
        is_expected: whether its condition is to be expected now, so that it stays quiet.
    """

    code: str
    priority: Priority
    holds: Callable[[Situation, bool], bool]
    text: Callable[[Situation], str]
    remedy: str
    on_delay_s: float = DELAY_S
    off_delay_s: float = DELAY_S
    below: tuple[str, ...] = ()
    is_expected: Callable[[Situation], bool] = lambda _: False

    @property
    def may_be_shelved(self) -> bool:
        """Whether it may be kept quiet for a while: never one that asks to act at once."""
        return self.priority is not Priority.HIGH
