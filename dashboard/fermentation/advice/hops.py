"""Hops: when they go in, how long they have been in, and when they must come out.

The trade's rule is two thirds of the drop; the limit is the brewer's. It is warned of before it is
reached and after, because hops left in draw grass and let the beer creep (their enzymes free
sugar).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dashboard.facts import Note, NoteKind
from dashboard.fermentation.advice.items import (
    HOP_LIMIT_H,
    BatchView,
    HopAddition,
    Item,
    Kind,
    Urgency,
)

WARN_H = 12.0  # Why: half a day before: a brewer at work can still plan the evening.
LATE_AGAIN_H = 24.0  # Why: told once more a day later, then it is the brewer's own choice.
FORGOTTEN_H = 24.0 * 30  # Why: hops in for a month were taken out and not written down.


def dry_hop_item(view: BatchView, now_utc_s: float) -> Item | None:
    """When to put the hops in; None: they are in, not wanted, ticked off, or out of reach."""
    moment = view.forecast.two_thirds
    if not hops_to_come(view) or moment.middle_h is None:
        return None
    low_h = moment.low_h if moment.low_h is not None else moment.middle_h
    high_utc_s = None if moment.high_h is None else view.utc_s(moment.high_h)
    due_utc_s = view.utc_s(moment.middle_h)
    urgency = Urgency.LATER
    if moment.passed >= 0.9:
        urgency = Urgency.LATE
    elif moment.passed >= 0.5:
        urgency = Urgency.NOW
    elif moment.passed >= 0.1 or due_utc_s - now_utc_s <= WARN_H * 3600.0:
        urgency = Urgency.SOON
    sg = view.forecast.two_thirds_sg
    reason = f"Two thirds of the drop to {view.forecast.final_sg.middle:.3f} are done at {sg:.3f}."
    if moment.passed >= 0.5:
        reason += f" It has probably passed that already ({moment.passed:.0%})."
    return Item(
        key=_dry_hop_key(view),
        batch_id=view.batch.id,
        batch_name=view.batch.name,
        kind=Kind.DRY_HOP,
        title="Add the dry hops",
        reason=reason,
        from_utc_s=view.utc_s(low_h),
        due_utc_s=due_utc_s,
        to_utc_s=high_utc_s,
        urgency=urgency,
        alerts=(view.utc_s(low_h), due_utc_s),
    )


def hops_to_come(view: BatchView) -> bool:
    """Whether hops are meant to go in and have not been."""
    return view.is_dry_hopped and not view.hops and not view.is_settled(_dry_hop_key(view))


def _dry_hop_key(view: BatchView) -> str:
    return f"{view.batch.id}-{Kind.DRY_HOP.value}"


def hops_out_items(view: BatchView, now_utc_s: float) -> tuple[Item, ...]:
    """One item for every addition still in the beer."""
    found = []
    for hops in view.hops:
        key = f"{view.batch.id}-{Kind.HOPS_OUT.value}-{hops.id}"
        if hops.out_utc_s is None and not view.is_settled(key):
            found.append(_hops_out(view, hops, key, now_utc_s))
    return tuple(found)


def contact_h(hops: HopAddition, now_utc_s: float) -> float:
    """How long the hops have been, or were, in the beer; 0 before they went in."""
    until_utc_s = now_utc_s if hops.out_utc_s is None else hops.out_utc_s
    return max(0.0, (until_utc_s - hops.in_utc_s) / 3600.0)


def additions(notes: Sequence[Note], limit_h: float = HOP_LIMIT_H) -> tuple[HopAddition, ...]:
    """The dry hops of a batch from its notes, in order of time; hops out ends all that are in."""
    found: list[HopAddition] = []
    for note in sorted(notes, key=lambda each: (each.at_utc_s, each.id)):
        if note.kind is NoteKind.DRY_HOP_IN:
            found.append(HopAddition(note.id, note.at_utc_s, None, limit_h))
        elif note.kind is NoteKind.DRY_HOP_OUT:
            found = [
                each if each.out_utc_s is not None else replace(each, out_utc_s=note.at_utc_s)
                for each in found
            ]
    return tuple(found)


def newest_hop_hour(hops: Sequence[HopAddition], pitched_utc_s: float) -> float | None:
    """When the newest hops went in, in hours since pitching, for `terminal_verdict`."""
    if not hops:
        return None
    return (max(each.in_utc_s for each in hops) - pitched_utc_s) / 3600.0


def _hops_out(view: BatchView, hops: HopAddition, key: str, now_utc_s: float) -> Item:
    limit_utc_s = hops.in_utc_s + hops.limit_h * 3600.0
    in_h = contact_h(hops, now_utc_s)
    left_h = hops.limit_h - in_h
    if left_h > WARN_H:
        urgency, reason = Urgency.LATER, f"They have been in for {in_h:.0f} h"
    elif left_h > 0.0:
        urgency, reason = (
            Urgency.SOON,
            f"Only {left_h:.0f} h left: they have been in {in_h:.0f} h",
        )
    elif left_h > -1.0:
        urgency, reason = Urgency.NOW, f"They have been in for {in_h:.0f} h"
    else:
        urgency, reason = (
            Urgency.LATE,
            f"They have been in for {in_h:.0f} h, {-left_h:.0f} h too long",
        )
    reason += f"; the limit set is {hops.limit_h:.0f} h."
    if in_h > FORGOTTEN_H:
        reason += " If they came out and it was not entered, tick this off."
    return Item(
        key=key,
        batch_id=view.batch.id,
        batch_name=view.batch.name,
        kind=Kind.HOPS_OUT,
        title="Take the hops out",
        reason=reason,
        from_utc_s=limit_utc_s - WARN_H * 3600.0,
        due_utc_s=limit_utc_s,
        to_utc_s=limit_utc_s,
        urgency=urgency,
        alerts=(
            limit_utc_s - WARN_H * 3600.0,
            limit_utc_s,
            limit_utc_s + LATE_AGAIN_H * 3600.0,
        ),
    )
