"""Items: what an agenda is made of, and what it is made from. Values only.

An item keeps its key for as long as it stands for the same thing to do, so that it can be ticked
off, alerted once and kept in a calendar under one name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, IntEnum

from controller.beerjson import Profile
from dashboard.facts import Batch
from dashboard.fermentation.course.forecast import Forecast
from dashboard.fermentation.course.heat_balance import HeatEstimate
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.strains import Strain
from dashboard.fermentation.terminal import Verdict

HOP_LIMIT_H = 72.0  # Why: three days, common practice, no source; texts give one to four.


class Kind(Enum):
    """What there is to do. The value is part of an item's key."""

    READING = "reading"
    DRY_HOP = "dry-hop"
    HOPS_OUT = "hops-out"
    STEP = "step"
    TERMINAL = "terminal"
    PACKAGE = "package"


class Urgency(IntEnum):
    """How soon, from later to too late."""

    LATER = 0
    SOON = 1
    NOW = 2
    LATE = 3


class Settled(Enum):
    """What the brewer said of an item."""

    DONE = "done"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class HopAddition:
    """Dry hops in a batch. `out_utc_s` is None while they are in; `limit_h` is the brewer's."""

    id: int
    in_utc_s: float
    out_utc_s: float | None = None
    limit_h: float = HOP_LIMIT_H


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to do. `from_utc_s` to `to_utc_s` is its window, with `due_utc_s` the best time;
    `to_utc_s` is None while nobody can tell. `alerts` are the times to tell people of it.
    """

    key: str
    batch_id: int
    batch_name: str
    kind: Kind
    title: str
    reason: str
    from_utc_s: float
    due_utc_s: float
    to_utc_s: float | None
    urgency: Urgency
    alerts: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchView:
    """All that an agenda needs to know of a batch.

    `is_dry_hopped` says whether hops are meant to go in at all; `hop_limit_h` how long for.
    `settled` holds what was ticked off, by key. `heat` is the gravity by the ferment's own heat.
    """

    batch: Batch
    strain: Strain
    readings: tuple[Reading, ...]
    forecast: Forecast
    verdict: Verdict
    profile: Profile | None = None
    hops: tuple[HopAddition, ...] = ()
    is_dry_hopped: bool = True
    hop_limit_h: float = HOP_LIMIT_H
    settled: Mapping[str, Settled] | None = None
    heat: HeatEstimate | None = None

    def is_settled(self, key: str) -> bool:
        """Whether the brewer ticked it off."""
        return self.settled is not None and key in self.settled

    def utc_s(self, hour: float) -> float:
        """The time so many hours after pitching."""
        return self.batch.pitched_utc_s + hour * 3600.0
