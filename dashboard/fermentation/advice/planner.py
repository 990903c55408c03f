"""Planner: which day suits packaging best, across batches.

For each day it says how likely each batch is to be finished, which will have sat too long on its
hops and which has waited long already. A day's worth is a plain sum, shown with its parts; the
brewer chooses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from dashboard.fermentation.advice.agenda import ready_moment
from dashboard.fermentation.advice.hops import contact_h, hops_to_come, newest_hop_hour
from dashboard.fermentation.advice.items import BatchView
from dashboard.fermentation.attenuation import DRY_HOP_SHARE

DAYS_MAX = 28  # Why: four weeks; no forecast of a kveik reaches further.
HOUR_OF_DAY = 17  # Why: kegs are filled after work.
LIKELY = 0.8  # Why: the same 80 % as every window here.
OVER_HOPS_COST = 0.5  # Why: grassy beer is half as good as a day on which it would not be.
WAIT_COST_PER_DAY = 0.02  # Why: a finished beer loses little by waiting, but loses; breaks ties.


@dataclass(frozen=True, slots=True)
class BatchOnDay:
    """One batch on one day. `ready` is the chance, 0 to 1, that it is finished by then.

    `hops_h` is how long its hops will have been in (None: none are in); `over_limit_h` how much of
    that is beyond the brewer's limit. `waited_days` is how long it will probably have been ready.
    """

    batch_id: int
    batch_name: str
    ready: float
    hops_h: float | None
    over_limit_h: float
    waited_days: float


@dataclass(frozen=True, slots=True)
class Day:
    """A day to package on. `at_utc_s` is the evening judged by; `is_best` marks the first best."""

    day: date
    at_utc_s: float
    batches: tuple[BatchOnDay, ...]
    worth: float
    is_best: bool

    @property
    def sentence(self) -> str:
        """What this day means, in words."""
        ready = [each.batch_name for each in self.batches if each.ready >= LIKELY]
        perhaps = [each.batch_name for each in self.batches if 0.2 <= each.ready < LIKELY]
        over = [each.batch_name for each in self.batches if each.over_limit_h > 0.0]
        parts = [f"{_listed(ready)} will be done" if ready else "Nothing is sure to be done"]
        if perhaps:
            parts.append(f"{_listed(perhaps)} perhaps")
        if over:
            parts.append(f"{_listed(over)} will have sat too long on the hops, if they are left in")
        return "; ".join(parts) + "."


def packaging_days(
    views: Sequence[BatchView], now_utc_s: float, days: int, zone: tzinfo
) -> tuple[Day, ...]:
    """Today and the days after it, judged at 17:00 in this zone.

    Args:
        views: the batches to package.
        now_utc_s: days begin here; an evening already past is left out.
        days: how many, 1 to 28.
        zone: in which the brewer lives.
    """
    assert 1 <= days <= DAYS_MAX, days
    today = datetime.fromtimestamp(now_utc_s, zone).date()
    found = []
    for index in range(days):
        day = today + timedelta(days=index)
        at_utc_s = datetime.combine(day, time(HOUR_OF_DAY), zone).timestamp()
        if at_utc_s < now_utc_s:
            continue
        batches = tuple(_on_day(view, now_utc_s, at_utc_s) for view in views)
        found.append(Day(day, at_utc_s, batches, sum(_worth(each) for each in batches), False))
    best = max((each.worth for each in found), default=0.0)
    first = next((each.day for each in found if each.worth >= best - 1e-9), None)
    return tuple(
        Day(each.day, each.at_utc_s, each.batches, each.worth, each.day == first and best > 0.0)
        for each in found
    )


def _on_day(view: BatchView, now_utc_s: float, at_utc_s: float) -> BatchOnDay:
    hour = (at_utc_s - view.batch.pitched_utc_s) / 3600.0
    ready = 1.0
    waited_h = hour - view.forecast.now_h
    if not view.verdict.is_terminal:
        ahead, flat_h = view.forecast.ahead, view.strain.expected.flat_h
        newest_h = newest_hop_hour(view.hops, view.batch.pitched_utc_s) or 0.0
        hours = [max(each, newest_h) + flat_h for each in ahead.terminal_hours()]
        if hops_to_come(view):
            points = ahead.hours_at([DRY_HOP_SHARE] * len(hours))
            pairs = zip(hours, points, strict=True)
            hours = [max(done_h, point_h + view.hop_limit_h) for done_h, point_h in pairs]
        ready = ahead.chance_by(hour, hours)
        middle_h = ready_moment(view, now_utc_s).middle_h
        waited_h = 0.0 if middle_h is None else hour - middle_h
    inside = [hops for hops in view.hops if hops.out_utc_s is None]
    over_h = [contact_h(hops, at_utc_s) - hops.limit_h for hops in inside]
    return BatchOnDay(
        batch_id=view.batch.id,
        batch_name=view.batch.name,
        ready=ready,
        hops_h=max((contact_h(hops, at_utc_s) for hops in inside), default=None),
        over_limit_h=max([0.0, *over_h]),
        waited_days=max(0.0, waited_h / 24.0),
    )


def _worth(batch: BatchOnDay) -> float:
    over = OVER_HOPS_COST if batch.over_limit_h > 0.0 else 0.0
    return batch.ready * (1.0 - over) - WAIT_COST_PER_DAY * batch.waited_days


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
