"""The agenda as a calendar that any calendar program can subscribe to.

Such a program can neither sign in nor send a header, so a token may stand in the address; only one
that may look and not change anything is taken there, because addresses are written into logs.
"""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from dashboard.access.entry import Access
from dashboard.access.roles import Role, visitor
from dashboard.fermentation.advice.agenda import agenda_of_all
from dashboard.web.brewing import found as batches
from dashboard.web.pages import Pages

TOKEN_CHARACTERS_MAX = 200  # Why: ours have under sixty.


def give(pages: Pages, request: Request, access: Access | None) -> Response:
    """GET /calendar.ics

    Raises:
        HTTPException: 401, nobody is signed in and no token that may look was brought.
    """
    _let_in(request, access)
    running = batches.running(pages)
    now_utc_s = max((each.now_utc_s for each in running), default=pages.clock())
    views = [each.view for each in running if each.view is not None]
    # Why here: the calendar library takes ten megabytes, and most dashboards never need it.
    from dashboard.fermentation.advice.calendar import feed

    body = feed(agenda_of_all(views, now_utc_s), now_utc_s)
    headers = {"cache-control": "no-store"}
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)


def _let_in(request: Request, access: Access | None) -> None:
    if visitor().role.includes(Role.LOOKER):
        return
    brought = request.query_params.get("token", "")[:TOKEN_CHARACTERS_MAX]
    found = access.visitor(None, brought) if access is not None and brought else None
    if found is None or not found.role.includes(Role.LOOKER):
        raise HTTPException(401, "The calendar needs a token in its address: ?token=…")
    if found.may_change:
        raise HTTPException(403, "Use a token that may only look; addresses are not kept secret.")
