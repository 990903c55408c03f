"""What lies ahead of a batch, in words: the sentence beside the first one, and the agenda's lines.

Pure: from a view of the batch to texts in the reader's units. It foretells nothing itself and
orders nothing; what cannot be told yet is said to be so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.facts import TickedOff
from dashboard.fermentation.advice.items import BatchView, Item, Kind, Urgency
from dashboard.fermentation.course.forecast import Moment
from dashboard.sheet import spans, words
from dashboard.sheet.units import Units

LIKELY = 0.5  # Why: what has more likely passed than not is spoken of as passed.
_MINUS = re.compile(r"(?<=[ (])-(?=\d)")
_PER_CENT = re.compile(r"(\d)%")
EXACT_S = 1800.0  # Why: a narrower window is a time.
URGENCY = {
    Urgency.LATE: "Late",
    Urgency.NOW: "Now",
    Urgency.SOON: "Soon",
    Urgency.LATER: "Later",
}
# Why: hops that go in or come out are written down as a note; a reading has a form of its own.
DONE_WORDS = {
    Kind.DRY_HOP: "They are in",
    Kind.HOPS_OUT: "They are out",
    Kind.STEP: "Seen",
    Kind.TERMINAL: "Seen",
    Kind.PACKAGE: "Done",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to do, ready to be shown.

    `done` is what the button says, empty where there is none (a reading is typed in instead).
    """

    key: str
    kind: str
    batch_id: int
    batch_name: str
    title: str
    when: str
    reason: str
    urgency: str
    is_late: bool
    is_reading: bool
    done: str
    due_utc_s: float


def outlook(view: BatchView, now_utc_s: float, units: Units) -> str:
    """When two thirds, or the end, of a running batch come, as one sentence; empty before pitching
    and after the end.
    """
    batch, said = view.batch, view.forecast
    if batch.ended_utc_s is not None or now_utc_s < batch.pitched_utc_s:
        return ""
    if view.verdict.is_terminal:
        end = words.gravity(view.readings[-1].sg, units) if view.readings else ""
        return f"Terminal gravity is proved{f' at {end}' if end else ''}."
    if said.two_thirds.passed < LIKELY:
        when = _when(view, said.two_thirds, now_utc_s, units)
        return f"Two thirds done {when}." if when else "Two thirds are not in sight at this warmth."
    if said.terminal.passed < LIKELY:
        when = _when(view, said.terminal, now_utc_s, units)
        if not when:
            return "Two thirds are done; the end is not in sight at this warmth."
        return f"Two thirds are done; terminal gravity {when}."
    return "It has probably reached its end; readings must still prove it."


def _when(view: BatchView, moment: Moment, now_utc_s: float, units: Units) -> str:
    if moment.middle_h is None:
        return ""
    low_h = moment.middle_h if moment.low_h is None else moment.low_h
    high_utc_s = None if moment.high_h is None else view.utc_s(moment.high_h)
    return spans.window(view.utc_s(low_h), high_utc_s, now_utc_s, units.zone)


def lines(items: Sequence[Item], now_utc_s: float, units: Units) -> tuple[Line, ...]:
    """The agenda's items as lines, in their order."""
    return tuple(
        Line(
            key=item.key,
            kind=item.kind.value,
            batch_id=item.batch_id,
            batch_name=item.batch_name,
            title=item.title,
            when=item_when(item, now_utc_s, units),
            reason=said(item.reason, units),
            urgency=URGENCY[item.urgency],
            is_late=item.urgency is Urgency.LATE,
            is_reading=item.kind is Kind.READING,
            done=DONE_WORDS.get(item.kind, ""),
            due_utc_s=item.due_utc_s,
        )
        for item in items
    )


def said(text: str, units: Units) -> str:
    """A sentence of the brewing knowledge in the reader's units, with its per cent set apart and
    a true minus.
    """
    return _MINUS.sub("\u2212", _PER_CENT.sub("\\1\u00a0%", units.reweighed(text)))


def item_when(item: Item, now_utc_s: float, units: Units) -> str:
    """The window of an item: a clock time when it is one, else from and to."""
    zone = units.zone
    if item.kind is Kind.HOPS_OUT:
        left_h = (item.due_utc_s - now_utc_s) / words.HOUR_S
        when = words.moment(item.due_utc_s, now_utc_s, zone)
        away = f"in {spans.hours(left_h)}" if left_h > 0 else f"{spans.hours(-left_h)} ago"
        return f"By {when}, {away}"
    if item.to_utc_s is None:
        return _upper(spans.window(item.from_utc_s, None, now_utc_s, zone))
    if item.to_utc_s <= now_utc_s:
        return f"Expected by {words.moment(item.to_utc_s, now_utc_s, zone)}"
    if item.to_utc_s - item.from_utc_s < EXACT_S:
        near_utc_s = round(item.due_utc_s / 900.0) * 900.0
        return f"About {words.moment(near_utc_s, now_utc_s, zone)}"
    return _upper(spans.window(item.from_utc_s, item.to_utc_s, now_utc_s, zone))


def hop_words(view: BatchView, now_utc_s: float, units: Units) -> tuple[str, ...]:
    """Each addition of dry hops as a sentence: since when, for how long, and how long it may be."""
    found = []
    for hops in view.hops:
        went_in = words.moment(hops.in_utc_s, now_utc_s, units.zone)
        until_utc_s = now_utc_s if hops.out_utc_s is None else hops.out_utc_s
        contact_h = max(0.0, (until_utc_s - hops.in_utc_s) / words.HOUR_S)
        limit = f"the limit set is {hops.limit_h:.0f} h"
        if hops.out_utc_s is None and view.batch.ended_utc_s is not None:
            found.append(
                f"Dry hops were in from {went_in} until the end: {contact_h:.0f} h; {limit}."
            )
        elif hops.out_utc_s is None:
            found.append(f"Dry hops are in since {went_in}: {contact_h:.0f} h; {limit}.")
        else:
            over = " That was too long." if contact_h > hops.limit_h + 1 else ""
            out = words.moment(hops.out_utc_s, now_utc_s, units.zone)
            found.append(
                f"Dry hops were in from {went_in} to {out}: {contact_h:.0f} h; {limit}.{over}"
            )
    return tuple(found)


def ticked_words(ticked: TickedOff, now_utc_s: float, units: Units) -> str:
    """One thing that was ticked off."""
    who = f" by {ticked.by.who}" if ticked.by.who else ""
    when = words.moment(ticked.by.utc_s, now_utc_s, units.zone)
    return f"{ticked.title}: {ticked.how}{who}, {when}."


def heat_words(view: BatchView, units: Units) -> str:
    """The gravity by the ferment's own heat; empty when it is not worth showing."""
    heat = view.heat
    if heat is None or heat.why_not is not None:
        return ""
    middle, low, high = (
        words.gravity(each, units) for each in (heat.sg, heat.low_sg, heat.high_sg)
    )
    return (
        f"By the ferment’s own heat since the newest reading it is at about {middle} now"
        f" ({low} to {high} in eight cases of ten)."
    )


def now_words(view: BatchView, units: Units) -> str:
    """The estimated gravity now, as a sentence."""
    now, final = view.forecast.now_sg, view.forecast.final_sg
    middle, low, high = (words.gravity(each, units) for each in (now.middle, now.low, now.high))
    end = words.gravity(final.middle, units)
    return (
        f"Estimated now: {middle}, between {low} and {high} in eight cases of ten; it should end at"
        f" about {end}."
    )


def _upper(text: str) -> str:
    return text[0].upper() + text[1:]
