"""Agenda: what comes next for a batch and when, and for all batches in one list.

Each item is a rule of its own: it looks at the forecast, the readings, the hops and the profile and
says what to do, in which window, and why in a sentence. It tells; it does nothing and forgets
nothing: what was ticked off is handed in. Windows are the forecast's, 80 %.
"""

from __future__ import annotations

from collections.abc import Iterable

from dashboard.fermentation.advice.hops import (
    dry_hop_item,
    hops_out_items,
    hops_to_come,
    newest_hop_hour,
)
from dashboard.fermentation.advice.items import BatchView, Item, Kind, Urgency
from dashboard.fermentation.course.forecast import Moment, passing
from dashboard.fermentation.terminal import Proof

SOON_S = 24 * 3600.0  # Why: a brewer plans an evening a day ahead.
NEAR_S = 1800.0  # Why: nobody takes a reading to the minute.
STEP_AHEAD_S = 14 * 86_400.0  # Why: a fortnight of a profile is a plan; more is wallpaper.
ITEMS_MAX = 100  # Why: ten batches of ten; a longer list is read by nobody.
STEP_KELVIN = 0.5  # Why: a smaller change is nothing to announce.


def agenda(view: BatchView, now_utc_s: float) -> tuple[Item, ...]:
    """What comes next for one batch, the soonest first. A batch that ended has nothing."""
    if view.batch.ended_utc_s is not None:
        return ()
    found = [
        _reading(view, now_utc_s),
        dry_hop_item(view, now_utc_s),
        *hops_out_items(view, now_utc_s),
        *_steps(view, now_utc_s),
        _terminal(view, now_utc_s),
        _package(view, now_utc_s),
    ]
    items = [each for each in found if each is not None and not view.is_settled(each.key)]
    return tuple(sorted(items, key=_order))


def agenda_of_all(views: Iterable[BatchView], now_utc_s: float) -> tuple[Item, ...]:
    """One list across batches: what is late first, then by when it is due."""
    items = [item for view in views for item in agenda(view, now_utc_s)]
    return tuple(sorted(items, key=_order)[:ITEMS_MAX])


def alerts_between(
    items: Iterable[Item], from_utc_s: float, to_utc_s: float
) -> tuple[tuple[str, Item], ...]:
    """The alerts that fall due after the one moment and up to the other, each with its own name.

    A forecast moves, and an alert with it: whoever tells people keeps the names told and tells each
    once.
    """
    return tuple(
        (f"{item.key}/{number}", item)
        for item in items
        for number, at_utc_s in enumerate(item.alerts)
        if from_utc_s < at_utc_s <= to_utc_s
    )


def _order(item: Item) -> tuple[int, float, str]:
    return (-int(item.urgency is Urgency.LATE), item.due_utc_s, item.key)


def _item(
    view: BatchView, kind: Kind, number: int | None, words: tuple[str, str], moment: Moment
) -> Item:
    """An item over a moment of the forecast; its urgency and alerts by the moment."""
    assert moment.middle_h is not None
    due_utc_s = view.utc_s(moment.middle_h)
    now_utc_s = view.utc_s(view.forecast.now_h)
    from_utc_s = due_utc_s if moment.low_h is None else view.utc_s(moment.low_h)
    title, reason = words
    return Item(
        key=f"{view.batch.id}-{kind.value}" + ("" if number is None else f"-{number}"),
        batch_id=view.batch.id,
        batch_name=view.batch.name,
        kind=kind,
        title=title,
        reason=reason,
        from_utc_s=from_utc_s,
        due_utc_s=due_utc_s,
        to_utc_s=None if moment.high_h is None else view.utc_s(moment.high_h),
        urgency=_urgency(due_utc_s, now_utc_s),
        alerts=(due_utc_s,),
    )


def _urgency(due_utc_s: float, now_utc_s: float) -> Urgency:
    if due_utc_s <= now_utc_s + NEAR_S:
        return Urgency.NOW
    return Urgency.SOON if due_utc_s <= now_utc_s + SOON_S else Urgency.LATER


def _exactly(hour: float) -> Moment:
    return Moment(hour, hour, hour, 0.0)


def _reading(view: BatchView, now_utc_s: float) -> Item | None:
    """The next reading: what the forecast asks for, or what proof of the end still needs."""
    said, count = view.forecast, len(view.readings)
    if view.verdict.is_terminal:
        return None
    if said.next_reading is not None:
        point = "two thirds" if said.two_thirds.passed <= 0.5 else "the end"
        reason = (
            f"It tells most about {point}: the window should shrink by"
            f" {said.next_reading.narrows:.0%}."
        )
        words = ("Take a gravity reading", reason)
        return _item(view, Kind.READING, count, words, _exactly(said.next_reading.hour))
    missing = [each for each in view.verdict.missing if each.proof in (Proof.WATCHED, Proof.FLAT)]
    if said.terminal.passed < 0.5 or not missing or not view.readings:
        return None
    flat_h = view.strain.expected.flat_h
    last_h = view.readings[-1].hour
    since_h = last_h if missing[0].proof is Proof.FLAT else view.readings[0].hour
    hour = max(said.now_h, min(since_h + flat_h, last_h + flat_h))
    words = ("Take a gravity reading", missing[0].what)
    return _item(view, Kind.READING, count, words, _exactly(hour))


def _steps(view: BatchView, now_utc_s: float) -> list[Item]:
    """The steps of the profile that change the temperature, by the clock or by the gravity."""
    if view.profile is None:
        return []
    found: list[Item] = []
    start = _exactly(0.0)
    before_c = view.profile.steps[0].start_c
    for number, step in enumerate(view.profile.steps, start=1):
        changes = abs(step.start_c - before_c) > STEP_KELVIN
        changes |= abs(step.end_c - step.start_c) > STEP_KELVIN
        now_h = view.forecast.now_h
        if number > 1 and changes and start.middle_h is not None and start.middle_h > now_h:
            to_c = step.end_c if abs(step.end_c - step.start_c) > STEP_KELVIN else step.start_c
            way = "rises" if to_c > before_c else "falls"
            words = (step.name, f"The profile {way} from {before_c:g} to {to_c:g} °C.")
            item = _item(view, Kind.STEP, number, words, start)
            if item.due_utc_s <= now_utc_s + STEP_AHEAD_S:
                found.append(item)
        before_c = step.end_c
        if step.hold_s is None and step.end_sg is None:
            break
        start = _end_of_step(view, start, step.hold_s, step.end_sg)
    return found


def _end_of_step(
    view: BatchView, start: Moment, hold_s: float | None, end_sg: float | None
) -> Moment:
    """When a step ends: by its time or its gravity, whichever comes first."""
    by_time = Moment(None, None, None, 0.0)
    if hold_s is not None and start.middle_h is not None:
        hold_h = hold_s / 3600.0
        low_h = None if start.low_h is None else start.low_h + hold_h
        high_h = None if start.high_h is None else start.high_h + hold_h
        by_time = Moment(low_h, start.middle_h + hold_h, high_h, 0.0)
    if end_sg is None:
        return by_time
    by_gravity = passing(view.forecast, end_sg)
    return Moment(
        _earlier(by_time.low_h, by_gravity.low_h),
        _earlier(by_time.middle_h, by_gravity.middle_h),
        _earlier(by_time.high_h, by_gravity.high_h),
        by_gravity.passed,
    )


def _earlier(one_h: float | None, other_h: float | None) -> float | None:
    return min((each for each in (one_h, other_h) if each is not None), default=None)


def _terminal(view: BatchView, now_utc_s: float) -> Item | None:
    """When the gravity should stand; gone once it is proved."""
    moment = view.forecast.terminal
    if view.verdict.is_terminal or moment.middle_h is None:
        return None
    final = view.forecast.final_sg
    reason = (
        f"The gravity should stand at about {final.middle:.3f} ({final.low:.3f} to"
        f" {final.high:.3f})."
    )
    if moment.passed >= 0.5 and view.verdict.missing:
        reason += f" Not proved yet: {view.verdict.missing[0].what}"
    return _item(view, Kind.TERMINAL, None, ("Terminal gravity", reason), moment)


def _package(view: BatchView, now_utc_s: float) -> Item | None:
    """When it can be kegged or bottled: proved to stand, and the hops out."""
    moment = ready_moment(view, now_utc_s)
    if moment.middle_h is None:
        return None
    if view.verdict.is_terminal:
        reason = "Terminal gravity is proved."
        if any(hops.out_utc_s is None for hops in view.hops):
            reason += " The hops are still in."
        if view.verdict.caution:
            reason += f" {view.verdict.caution}"
    else:
        reason = (
            f"Then the gravity will have stood for {view.strain.expected.flat_h:.0f} h, if it goes"
            " as foretold; two readings must prove it first."
        )
    return _item(view, Kind.PACKAGE, None, ("Keg or bottle it", reason), moment)


def ready_moment(view: BatchView, now_utc_s: float) -> Moment:
    """When the batch may be packaged: the forecast's, but not before its hops have had their time
    and are due out, nor before the proof they ask for again.
    """
    now_h = (now_utc_s - view.batch.pitched_utc_s) / 3600.0
    moment = _exactly(now_h) if view.verdict.is_terminal else view.forecast.ready
    outs = [each.in_utc_s + each.limit_h * 3600.0 for each in view.hops if each.out_utc_s is None]
    least = [now_h, *((each - view.batch.pitched_utc_s) / 3600.0 for each in outs)]
    if not view.verdict.is_terminal and view.hops:
        newest_h = newest_hop_hour(view.hops, view.batch.pitched_utc_s) or 0.0
        least.append(newest_h + view.strain.expected.flat_h)
    hops = view.forecast.two_thirds if hops_to_come(view) else _exactly(now_h - view.hop_limit_h)
    sides = (
        (moment.low_h, hops.low_h),
        (moment.middle_h, hops.middle_h),
        (moment.high_h, hops.high_h),
    )
    low_h, middle_h, high_h = (
        None if ready_h is None or hop_h is None else max(ready_h, hop_h + view.hop_limit_h, *least)
        for ready_h, hop_h in sides
    )
    return Moment(low_h, middle_h, high_h, moment.passed)
