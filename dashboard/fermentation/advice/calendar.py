"""Calendar: the agenda as an iCalendar feed that any calendar program can subscribe to.

RFC 5545 through the `icalendar` library. Each item is an event with a name that stays the same, so
that a subscriber sees it move and never twice; one ticked off leaves the feed. Times are UTC, and
each alert is an alarm on the event. It lists; it plans nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import icalendar

from dashboard.fermentation.advice.items import Item, Kind

PRODUCT = "-//barmkeep//agenda//EN"
UID_DOMAIN = "barmkeep.invalid"  # Why: RFC 2606 reserves it: no other program's event clashes.
REFRESH = timedelta(minutes=30)  # Why: a forecast moves with readings, a few a day.
SHORT = timedelta(minutes=30)  # Why: a thing to do, not a day to block.
ALERTS_MAX = 5  # Why: more bells than that are silenced.


def feed(items: Sequence[Item], now_utc_s: float, chamber_or_all: str = "all batches") -> bytes:
    """The calendar as it goes over the wire, in UTF-8 with the line ends the RFC asks for."""
    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", f"Brewing: {chamber_or_all}")
    calendar.add("x-wr-calname", f"Brewing: {chamber_or_all}")
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for item in items:
        calendar.add_component(_event(item, now_utc_s))
    return bytes(calendar.to_ical())


def uid(item: Item) -> str:
    """The event's name for good."""
    return f"{item.key}@{UID_DOMAIN}"


def _event(item: Item, now_utc_s: float) -> icalendar.Event:
    due = _moment(item.due_utc_s)
    event = icalendar.Event()
    event.add("uid", uid(item))
    event.add("dtstamp", _moment(now_utc_s))
    event.add("dtstart", due)
    event.add("dtend", due + SHORT)
    event.add("summary", f"{item.batch_name}: {item.title}")
    event.add("description", _description(item))
    event.add("categories", [item.kind.value])
    event.add("transp", "TRANSPARENT")
    if item.kind is not Kind.HOPS_OUT:  # A forecast, not an appointment; a hop limit is one.
        event.add("status", "TENTATIVE")
    for at_utc_s in item.alerts[:ALERTS_MAX]:
        event.add_component(_alarm(item, at_utc_s))
    return event


def _alarm(item: Item, at_utc_s: float) -> icalendar.Alarm:
    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"{item.batch_name}: {item.title}")
    alarm.add("trigger", timedelta(seconds=round(at_utc_s - item.due_utc_s)))
    return alarm


def _description(item: Item) -> str:
    low = _moment(item.from_utc_s).strftime("%d %B %H:%M")
    if item.to_utc_s is None:
        return f"{item.reason}\nNot before {low} UTC."
    high = _moment(item.to_utc_s).strftime("%d %B %H:%M")
    if item.to_utc_s - item.from_utc_s < SHORT.total_seconds():
        return item.reason
    return f"{item.reason}\nIn eight cases of ten between {low} and {high} UTC."


def _moment(utc_s: float) -> datetime:
    return datetime.fromtimestamp(round(utc_s), UTC)
