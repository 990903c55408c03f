"""The feed, read back by the library and looked at byte by byte against RFC 5545."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import icalendar

from dashboard.fermentation.advice.agenda import agenda
from dashboard.fermentation.advice.calendar import feed, uid
from dashboard.fermentation.advice.items import HopAddition
from tests.dashboard.fermentation.advice.views import at, view_at

ITEMS = agenda(view_at(40, (12, 24, 36), hops=(HopAddition(7, at(34)),)), at(40))


def events(raw):
    return icalendar.Calendar.from_ical(raw).walk("VEVENT")


def test_every_item_is_an_event_with_its_time():
    found = events(feed(ITEMS, at(40)))
    assert len(found) == len(ITEMS) >= 3
    for event, item in zip(found, ITEMS, strict=True):
        assert event["uid"] == uid(item)
        assert event.decoded("dtstart") == datetime.fromtimestamp(round(item.due_utc_s), UTC)
        assert event.decoded("dtstamp") == datetime.fromtimestamp(at(40), UTC)
        assert str(event["summary"]) == f"Frost: {item.title}"
        assert item.reason in str(event["description"])


def test_the_hops_ring_before_and_after_their_limit():
    (event,) = [each for each in events(feed(ITEMS, at(40))) if "hops-out" in each["uid"]]
    triggers = [each.decoded("trigger") for each in event.walk("VALARM")]
    assert triggers == [timedelta(hours=-12), timedelta(0), timedelta(hours=24)]
    assert "status" not in event


def test_a_name_stays_when_the_forecast_moves():
    moved = [replace(each, due_utc_s=each.due_utc_s + 7200.0) for each in ITEMS]
    before, after = (events(feed(each, at(40))) for each in (ITEMS, moved))
    assert [each["uid"] for each in before] == [each["uid"] for each in after]
    assert before[0].decoded("dtstart") != after[0].decoded("dtstart")


def test_the_bytes_are_as_rfc_5545_wants_them():
    """Section 3.1: CRLF, lines of 75 octets at most; 3.6 and 3.6.1: what must be there once; 3.3.5:
    UTC with a Z; 3.3.11: commas and semicolons escaped.
    """
    awkward = replace(ITEMS[0], batch_name="Blåbær; frost, og snø " * 5)
    raw = feed([awkward, *ITEMS[1:]], at(40))
    lines = raw.split(b"\r\n")
    assert b"\n" not in raw.replace(b"\r\n", b"") and lines[-1] == b""
    assert max(len(line) for line in lines) <= 75
    assert lines[0] == b"BEGIN:VCALENDAR" and lines[-2] == b"END:VCALENDAR"
    unfolded = raw.replace(b"\r\n ", b"").decode()
    assert unfolded.count("PRODID:") == unfolded.count("VERSION:2.0") == 1
    for name in ("UID:", "DTSTAMP:", "DTSTART:"):
        assert unfolded.count(f"\r\n{name}") == len(ITEMS)
    assert "DTSTART:20260" in unfolded and "Z\r\n" in unfolded
    assert "Blåbær\\; frost\\, og snø" in unfolded
    (first, *_) = events(raw)
    assert str(first["summary"]).startswith("Blåbær; frost, og snø")


def test_an_empty_agenda_is_an_empty_calendar():
    assert events(feed([], at(0))) == []
