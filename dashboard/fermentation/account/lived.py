"""Lived: what a batch went through hour by hour, as the account of it needs it.

It joins the chamber's thinned history to the interruptions known from its events: an hour without
ticks is an outage whether or not anyone wrote it down. It judges nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from dashboard.facts import Bucket
from dashboard.fermentation.course.warmth import HOUR_S, Warmth, between

HOURS_MAX = 24 * 400  # Why: more than a year of one batch; mixed cultures take half of one.


class Trouble(Enum):
    """What kept a chamber from working in an hour."""

    OUTAGE = "outage"
    PROBE = "probe"
    TRIP = "trip"


@dataclass(frozen=True, slots=True)
class Interruption:
    """A stretch in which the chamber could not work, from its events."""

    from_utc_s: float
    to_utc_s: float
    trouble: Trouble


@dataclass(frozen=True, slots=True)
class LivedHour:
    """One hour of a batch. `hour` is where it begins, in hours since pitching.

    `beer_c` is bridged by a straight line where nothing was measured; `is_measured` tells.
    """

    hour: float
    beer_c: float
    is_measured: bool
    target_c: float | None = None
    garage_c: float | None = None
    heat_share: float = 0.0
    trouble: Trouble | None = None


def lived_hours(
    buckets: Iterable[Bucket],
    pitched_utc_s: float,
    now_utc_s: float,
    interruptions: Sequence[Interruption] = (),
) -> tuple[LivedHour, ...]:
    """Every hour from pitching to now; empty when nothing was measured.

    Args:
        buckets: hourly, in order; those outside the batch are left out.
        pitched_utc_s: when the batch's hours begin.
        now_utc_s: when they end.
        interruptions: known from events; hours without a bucket are outages anyway.
    """
    count = min(int((now_utc_s - pitched_utc_s) / HOUR_S), HOURS_MAX)
    by_hour: dict[int, Bucket] = {}
    points = []
    for bucket in buckets:
        middle_s = bucket.start_utc_s + HOUR_S / 2.0 - pitched_utc_s
        index = int(middle_s // HOUR_S)
        if 0 <= index < count:
            by_hour[index] = bucket
            if bucket.beer_mean_c is not None:
                points.append((index + 0.5, bucket.beer_mean_c))
    if not points:
        return ()
    hours = []
    for index in range(count):
        found = by_hour.get(index)
        lived = LivedHour(float(index), between(points, index + 0.5), False, trouble=Trouble.OUTAGE)
        if found is not None:
            is_measured = found.beer_mean_c is not None
            lived = LivedHour(
                float(index),
                lived.beer_c,
                is_measured,
                found.target_c,
                found.garage_mean_c,
                found.heat_share,
                None if is_measured else Trouble.PROBE,
            )
        hours.append(lived)
    return tuple(_marked(each, pitched_utc_s, interruptions) for each in hours)


def warmth_lived(hours: Sequence[LivedHour]) -> Warmth:
    """The temperatures alone."""
    missing = sum(not each.is_measured for each in hours)
    points = tuple((each.hour + 0.5, each.beer_c) for each in hours)
    return Warmth(points, hours[-1].hour + 1.0, float(missing))


def _marked(
    lived: LivedHour, pitched_utc_s: float, interruptions: Sequence[Interruption]
) -> LivedHour:
    middle_utc_s = pitched_utc_s + (lived.hour + 0.5) * HOUR_S
    for each in interruptions:
        if each.from_utc_s <= middle_utc_s <= each.to_utc_s:
            return replace(lived, trouble=each.trouble)
    return lived
