"""What an interlock looks at, and what makes one: settings, memory, circumstances, a rule.

The rules themselves are the table in `interlock_rules.py`. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from controller.bounded import setting
from controller.decision.probe_return import Fallen
from controller.decision.vocabulary import (
    Evidence,
    Finding,
    Moment,
    Permit,
    Relay,
    Target,
    off_target_k,
)


@dataclass(frozen=True, slots=True)
class InterlockSettings:
    """The limits no target, order or profile can move."""

    beer_c_max: float = setting(
        "beer temperature at which heating stops until a person releases it",
        unit="°C",
        default=42.0,
        low=10.0,
        high=48.0,
    )
    pad_c_max: float = setting(
        "pad temperature at which heating pauses (needs a pad probe)",
        unit="°C",
        default=60.0,
        low=30.0,
        high=75.0,
    )


@dataclass(frozen=True, slots=True)
class InterlockMemory:
    """What the interlocks remember: latched trips by code, and when each relay last changed."""

    trips: tuple[str, ...] = ()
    fan_gate_is_open: bool = False
    mismatches: int = 0
    heat_changed_s: float = float("-inf")
    fan_changed_s: float = float("-inf")
    heat_ran_s: float = float("-inf")
    fan_ran_s: float = float("-inf")
    last_mono_s: float | None = None
    fallen: Fallen | None = None


@dataclass(frozen=True, slots=True)
class Circumstances:
    """All a rule may look at."""

    settings: InterlockSettings
    memory: InterlockMemory
    evidence: Evidence
    findings: tuple[Finding, ...]
    target: Target | None
    now: Moment

    @property
    def above_k(self) -> float:
        """How far the beer is above its target band; below 0 when it is below it, else 0."""
        return off_target_k(self.evidence, self.target)


@dataclass(frozen=True, slots=True)
class Rule:
    """One interlock.

    Args:
        code: its name everywhere: journal, page, hazard table.
        relays: what it forbids.
        permit: HOLD or OFF.
        latches: it stays until released.
        at_machine: a trip that only somebody standing at the machine may release.
        applies: whether it forbids now.
        text: what is wrong, for a person.
        remedy: what to do.
    """

    code: str
    relays: tuple[Relay, ...]
    permit: Permit
    applies: Callable[[Circumstances], bool]
    text: str
    remedy: str = ""
    latches: bool = False
    at_machine: bool = False
