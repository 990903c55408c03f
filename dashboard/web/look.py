"""Looks a chamber up: what the live hub heard last, and what the store holds of it.

The only place where a page's facts are fetched. It decides nothing; `sheet` says what they mean.
"""

from __future__ import annotations

from dataclasses import replace

from controller.wire import Event, EventState
from dashboard import series
from dashboard.facts import Batch
from dashboard.live import LiveHub
from dashboard.sheet.seen import Seen, on_target_since_utc_s
from dashboard.sheet.troubles import standing
from dashboard.sheet.words import DAY_S
from dashboard.store import Store

EVENT_DAYS = 30  # Why: an alarm older than a month still stands in the newest tick.
EVENTS_MAX = 400  # Why: a month of a restless chamber; reading them takes about a millisecond.
SINCE_DAYS_MAX = 14  # Why: "on target since" is about this batch, and none here is held longer.
SINCE_BUCKETS = 400  # Why: within a fortnight this tells the hour, within a day the five minutes.


def seen(store: Store, hub: LiveHub, chamber: str, clock_utc_s: float) -> Seen | None:
    """One chamber as it is known now; None when nothing was ever heard of it or entered for it."""
    live = hub.newest(chamber)
    batch = store.current_batch(chamber)
    if live is None:
        known = next((each for each in store.chambers() if each.name == chamber), None)
        if known is None:
            return None
        tick, presence, heard = known.last_tick, known.presence, known.heard_utc_s
    else:
        tick, presence, heard = live.tick, live.presence, live.heard_utc_s
    found = Seen(chamber, clock_utc_s, tick, heard, presence, batch)
    return replace(
        found,
        on_target_since_utc_s=_on_target_since(store, found),
        standing=standing(events(store, found)),
    )


def of_batch(batch: Batch, now_utc_s: float) -> Seen:
    """A batch by itself, as it was at this moment; whatever its chamber does now."""
    return Seen(batch.chamber, now_utc_s, batch=batch)


def every_chamber(store: Store, hub: LiveHub, clock_utc_s: float) -> tuple[Seen, ...]:
    """Every chamber, by name."""
    names = {each.chamber for each in hub.all_newest()}
    names.update(each.name for each in store.chambers())
    found = (seen(store, hub, name, clock_utc_s) for name in sorted(names))
    return tuple(each for each in found if each is not None)


def events(store: Store, chamber: Seen) -> tuple[Event, ...]:
    """The newest events of the last month, oldest first."""
    to_utc_s = max(chamber.now_utc_s, chamber.clock_utc_s) + DAY_S
    from_utc_s = chamber.now_utc_s - EVENT_DAYS * DAY_S
    return store.events(chamber.chamber, from_utc_s, to_utc_s, EVENTS_MAX)


def _is_quiet(event: Event) -> bool:
    """Whether an event is for the record only: an alarm kept quiet, and a line lost for good."""
    is_quiet_over = event.state == EventState.ENDED and event.priority is not None
    return event.state == EventState.SUPPRESSED or is_quiet_over or event.code == "line-lost"


def shown_events(store: Store, chamber: Seen, limit: int) -> tuple[Event, ...]:
    """The newest of them that a person should read, the newest first.

    What was made quiet because something else explains it is left out.
    """
    told = [each for each in events(store, chamber) if not _is_quiet(each)]
    return tuple(told[: -limit - 1 : -1])


def _on_target_since(store: Store, chamber: Seen) -> float | None:
    if chamber.tick is None:
        return None
    from_utc_s = chamber.now_utc_s - SINCE_DAYS_MAX * DAY_S
    if chamber.batch is not None:
        from_utc_s = max(from_utc_s, chamber.batch.pitched_utc_s)
    to_utc_s = chamber.now_utc_s + 1
    if to_utc_s - from_utc_s < 1:
        return None
    curve = series.window(store, chamber.chamber, from_utc_s, to_utc_s, SINCE_BUCKETS)
    return on_target_since_utc_s(curve, chamber.tick)
