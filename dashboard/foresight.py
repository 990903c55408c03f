"""Foresight: a batch's facts out of the store, and what the yeast makes of them, while that lasts.

The one place where the store meets the brewing knowledge. What it knows of a batch costs about a
tenth of a second here and a second on a small Pi, so it is kept until a reading, a note, the plan
or the hour changes. Safe to call from any thread; two that ask for the same wait for one answer.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from controller.beerjson import Profile, parse
from controller.errors import BarmkeepError
from controller.wire import Event, EventState, Tick
from dashboard.facts import Batch, Bucket
from dashboard.fermentation.account.account import Account
from dashboard.fermentation.account.lived import Interruption, Trouble
from dashboard.fermentation.advice.items import BatchView, Settled
from dashboard.fermentation.compare import Ran
from dashboard.fermentation.course.heat_balance import hourly_heat
from dashboard.fermentation.course.warmth import warmth_of
from dashboard.fermentation.gravity import GravityError, sg_of_reading
from dashboard.fermentation.record import BatchRecord, account_from, view_of
from dashboard.fermentation.strains import Strain, strain
from dashboard.store import Store

HOUR_S = 3600  # Source: SI brochure, table 8: 1 h = 3600 s.
BATCHES_KEPT_MAX = 40  # Why: each holds some 100 kB; a household looks at a dozen.
ORDERS_LOOKED_AT = 50  # Why: the order that began a batch is among the newest of its chamber.
TARGET_NEAR_K = 0.6  # Why: a ramp's target lies between its ends; another step's lies further.
EVENTS_MAX = 1000  # Why: a batch that tripped more often has no use for an account.
# Why: by the code of what is raised or tripped: what kept the chamber from working meanwhile.
TROUBLES = {"tripped": Trouble.TRIP, "beer-probe-lost": Trouble.PROBE}


@dataclass(frozen=True, slots=True)
class _Kept:
    key: Any
    record: BatchRecord
    view: BatchView


class Foresight:
    """What is to be expected of batches, from one store."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._kept: OrderedDict[int, _Kept] = OrderedDict()
        self._accounts: dict[int, tuple[Any, Account | None]] = {}

    def view(self, batch: Batch, now_utc_s: float, tick: Tick | None = None) -> BatchView | None:
        """What is known and to be expected of a batch; None when its kind of yeast or its gravities
        are not to be reckoned with.

        Args:
            batch: of this store.
            now_utc_s: its chamber's now.
            tick: its chamber's newest, if it is there now: tells which procedure is followed.

        Raises:
            DiskError: the store cannot be read.
        """
        kept = self._known(batch, now_utc_s, tick)
        if kept is None:
            return None
        ticked = self._store.ticked_off(batch.id)
        return replace(kept.view, settled={each.item: Settled(each.how) for each in ticked})

    def account(self, batch: Batch, now_utc_s: float) -> Account | None:
        """Why the batch took as long as it did; None while nothing has been measured."""
        kept = self._known(batch, now_utc_s, None)
        if kept is None:
            return None
        with self._lock:
            known = self._accounts.get(batch.id)
        if known is not None and known[0] == kept.key:
            return known[1]
        account = self._accounted(kept.record, now_utc_s)
        with self._lock:
            while len(self._accounts) >= BATCHES_KEPT_MAX:
                self._accounts.pop(next(iter(self._accounts)))
            self._accounts[batch.id] = (kept.key, account)
        return account

    def ran(self, batch: Batch, now_utc_s: float) -> Ran | None:
        """The batch as it is compared with others; None as for `view`."""
        kept = self._known(batch, now_utc_s, None)
        if kept is None:
            return None
        record = kept.record
        until_utc_s = now_utc_s if batch.ended_utc_s is None else batch.ended_utc_s
        usual_c = record.strain.expected.usual_c
        warmth = warmth_of(record.buckets, batch.pitched_utc_s, until_utc_s, (), usual_c)
        return Ran(batch.name, record.strain, batch.original_sg, kept.view.readings, warmth)

    def _accounted(self, record: BatchRecord, now_utc_s: float) -> Account | None:
        batch = record.batch
        until_utc_s = now_utc_s if batch.ended_utc_s is None else batch.ended_utc_s
        events = self._store.events(batch.chamber, batch.pitched_utc_s, until_utc_s, EVENTS_MAX)
        return account_from(record, now_utc_s, interruptions(events, until_utc_s))

    def hours(self, batch: Batch, now_utc_s: float) -> tuple[Bucket, ...]:
        """The batch's hours, thinned, from pitching to its end or now."""
        until_utc_s = now_utc_s if batch.ended_utc_s is None else batch.ended_utc_s
        from_s = int(batch.pitched_utc_s) // HOUR_S * HOUR_S
        to_s = max(from_s, int(until_utc_s)) + 1
        found = self._store.stretches(batch.chamber, from_s, to_s, HOUR_S, "hours")
        return tuple(sums.bucket(float(start_s)) for start_s, sums in found)

    def _known(self, batch: Batch, now_utc_s: float, tick: Tick | None) -> _Kept | None:
        gravities = self._store.gravities(batch.id)
        notes = self._store.notes(batch.id)
        plan = self._store.plan(batch.id)
        hour = int((now_utc_s - batch.pitched_utc_s) // HOUR_S)
        key = (batch, gravities, notes, plan, hour)
        with self._lock:
            kept = self._kept.get(batch.id)
            if kept is not None and kept.key == key:
                self._kept.move_to_end(batch.id)
                return kept
            try:
                found = strain(batch.strain)
                record = BatchRecord(
                    batch,
                    found,
                    tuple(each for each in gravities if _is_readable(batch, each)),
                    notes,
                    self.hours(batch, now_utc_s),
                    self._followed(batch, found, tick),
                    hourly_heat(
                        (
                            (each.start_utc_s + HOUR_S / 2, each.ferment_w, each.sd_w)
                            for each in self._store.ferment_heat(
                                batch.chamber, batch.pitched_utc_s, now_utc_s
                            )
                        ),
                        batch.pitched_utc_s,
                    ),
                    plan.forced_sg,
                    plan.is_dry_hopped,
                    plan.hop_limit_h,
                )
                made = _Kept(key, record, view_of(record, now_utc_s))
            except BarmkeepError:
                return None
            self._kept[batch.id] = made
            while len(self._kept) > BATCHES_KEPT_MAX:
                self._kept.popitem(last=False)
            return made

    def _followed(self, batch: Batch, kind: Strain, tick: Tick | None) -> Profile | None:
        """The procedure that is run: the one ordered for this batch, or its kind's own when the
        chamber is at a step of that name and temperature. None: not known.
        """
        for given in self._store.orders(batch.chamber, ORDERS_LOOKED_AT):
            order = given.order
            is_taken = given.reply is not None and given.reply.taken
            if is_taken and order.kind == "begin" and order.batch == batch.name:
                if order.procedure:
                    return parse(order.procedure, "the order")[0]
                break
        if tick is None or tick.step is None or tick.target_c is None:
            return None
        steps = kind.procedure.steps
        if not 1 <= tick.step <= len(steps) or steps[tick.step - 1].name != tick.step_name:
            return None
        step = steps[tick.step - 1]
        low_c, high_c = sorted((step.start_c, step.end_c))
        is_there = low_c - TARGET_NEAR_K <= tick.target_c <= high_c + TARGET_NEAR_K
        return kind.procedure if is_there else None


def interruptions(events: Sequence[Event], until_utc_s: float) -> tuple[Interruption, ...]:
    """The stretches in which a chamber could not work; one that is not over lasts until the end."""
    found: list[Interruption] = []
    begun: dict[str, float] = {}
    for event in events:
        if event.code not in TROUBLES:
            continue
        if event.state in (EventState.RAISED, EventState.TRIPPED):
            begun.setdefault(event.code, event.utc_s)
        elif event.state in (EventState.CLEARED, EventState.RELEASED) and event.code in begun:
            from_utc_s = begun.pop(event.code)
            found.append(Interruption(from_utc_s, event.utc_s, TROUBLES[event.code]))
    found += [Interruption(each, until_utc_s, TROUBLES[code]) for code, each in begun.items()]
    return tuple(sorted(found, key=lambda each: each.from_utc_s))


def _is_readable(batch: Batch, reading: Any) -> bool:
    """A reading that cannot be is shown with its trouble in the table; the rest still counts."""
    try:
        sg_of_reading(
            reading.entered,
            reading.unit,
            reading.sample_c,
            reading.calibrated_c,
            batch.original_sg,
        )
    except GravityError:
        return False
    return True
