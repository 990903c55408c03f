"""The agenda as a calendar that any calendar program can subscribe to.

Where people sign in such a program brings a token in the address; the gate takes only one that may
look.
"""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from dashboard.fermentation.advice.agenda import agenda_of_all
from dashboard.web.brewing import found as batches
from dashboard.web.pages import Pages


def give(pages: Pages, request: Request) -> Response:
    """GET /calendar.ics"""
    running = batches.running(pages)
    now_utc_s = max((each.now_utc_s for each in running), default=pages.clock())
    views = [each.view for each in running if each.view is not None]
    # Why here: the calendar library takes ten megabytes, and most dashboards never need it.
    from dashboard.fermentation.advice.calendar import feed

    body = feed(agenda_of_all(views, now_utc_s), now_utc_s)
    headers = {"cache-control": "no-store"}
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)
