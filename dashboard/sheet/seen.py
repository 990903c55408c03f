"""What is known of one chamber at one moment: the facts a page is made from. Values only.

Freshness is judged by when the dashboard heard a message, never by the time written in it: the
controller's clock may be wrong, and a demonstration runs ahead of every clock.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.wire import Event, Presence, PresenceState, Tick
from dashboard.facts import Batch, Bucket, Curve

SILENT_TICKS = 6  # Why: a courier may be busy for a few ticks; six in a row are silence.
SILENT_S_MIN = 60.0  # Why: a minute is what a broker and a network need to find each other again.
ON_TARGET_K = 0.5  # Why: the width at which a brewer would look twice; the probe is good to this.


@dataclass(frozen=True, slots=True)
class Seen:
    """One chamber as the dashboard sees it.

    Args:
        chamber: its name.
        clock_utc_s: what the dashboard's own clock says.
        tick: the newest tick; None when none was ever heard.
        heard_utc_s: when the dashboard heard that tick, by its own clock; None: not since it began.
        presence: what the controller last said of itself, or the broker said for it.
        batch: the batch that is in the chamber.
        on_target_since_utc_s: since when the beer has been within `ON_TARGET_K`; None when it is
            not, or when that is unknown.
        standing: the newest `raised` or `tripped` event of every trouble that is not over.
    """

    chamber: str
    clock_utc_s: float
    tick: Tick | None = None
    heard_utc_s: float | None = None
    presence: Presence | None = None
    batch: Batch | None = None
    on_target_since_utc_s: float | None = None
    standing: tuple[Event, ...] = ()

    @property
    def now_utc_s(self) -> float:
        """The chamber's now: the time of its newest tick, else the dashboard's."""
        return self.clock_utc_s if self.tick is None else self.tick.utc_s

    @property
    def is_stopped(self) -> bool:
        """The controller said that it stops, and no tick came after."""
        if self.presence is None or self.presence.state != PresenceState.STOPPED:
            return False
        return self.tick is None or self.tick.utc_s <= self.presence.utc_s

    @property
    def is_silent(self) -> bool:
        """Nothing was heard for longer than a healthy controller would be quiet."""
        if self.presence is not None and self.presence.state == PresenceState.LOST:
            return True
        if self.heard_utc_s is None:
            return True
        tick_s = 0.0 if self.presence is None else self.presence.tick_s
        limit_s = max(SILENT_S_MIN, SILENT_TICKS * tick_s)
        return self.clock_utc_s - self.heard_utc_s > limit_s

    @property
    def is_live(self) -> bool:
        """What the tick says may be taken for the present."""
        return self.tick is not None and not self.is_stopped and not self.is_silent


def on_target_since_utc_s(curve: Curve, tick: Tick) -> float | None:
    """Since when the beer has been within `ON_TARGET_K` of its target, to the length of a bucket.

    None when it is not now, or may rise freely. Goes back over gaps, and to the curve's beginning
    at most.
    """
    if tick.beer_c is None or tick.target_c is None or tick.target_high_c is not None:
        return None
    if abs(tick.beer_c - tick.target_c) > ON_TARGET_K:
        return None
    since_utc_s = tick.utc_s
    for bucket in reversed(curve.buckets):
        if not _is_on_target(bucket):
            break
        since_utc_s = min(since_utc_s, bucket.start_utc_s)
    return since_utc_s


def _is_on_target(bucket: Bucket) -> bool:
    if bucket.beer_mean_c is None or bucket.target_c is None:
        return False
    return abs(bucket.beer_mean_c - bucket.target_c) <= ON_TARGET_K
