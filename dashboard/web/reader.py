"""Who reads a page, as far as units and time go: a choice kept in a cookie of the browser.

A cookie that makes no sense is as good as none. The choice says nothing of who the reader is and
permits nothing.
"""

from __future__ import annotations

from urllib.parse import quote, unquote

from starlette.requests import Request
from starlette.responses import Response

from dashboard.sheet.units import Units, text_of, units_of_text

COOKIE = "barmkeep-units"
KEPT_S = 400 * 86_400  # Source: RFC 6265bis: browsers keep a cookie for 400 days at most.


def units_for(request: Request, usual: Units) -> Units:
    """The units this browser has chosen; `usual` before it has."""
    return units_of_text(unquote(request.cookies.get(COOKIE, "")), usual)


def keep_units(request: Request, response: Response, units: Units) -> None:
    """Let the browser remember these units."""
    response.set_cookie(
        COOKIE,
        quote(text_of(units), safe=":"),
        max_age=KEPT_S,
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="lax",
    )
