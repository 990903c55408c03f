"""The page of units and time: what one reader's figures and moments are shown in.

The choice goes into a cookie of this browser, so that two people in one house may differ.
"""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dashboard.sheet import choices
from dashboard.sheet.forms import Filled
from dashboard.sheet.units import Units, zone_names
from dashboard.web.pages import Pages
from dashboard.web.reader import keep_units


def show(pages: Pages, request: Request) -> Response:
    """GET /preferences"""
    is_kept = request.query_params.get("kept") == "yes"
    return _page(pages, Filled(choices.typed_of(pages.units)), is_kept=is_kept)


def write(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /preferences"""
    filled = choices.units_entry(typed)
    if filled.value is None:
        return _page(pages, filled, status=422)
    answer = RedirectResponse("/preferences?kept=yes", 303)
    keep_units(request, answer, filled.value)
    return answer


def _page(
    pages: Pages, form: Filled[Units], *, is_kept: bool = False, status: int = 200
) -> Response:
    zones = sorted(zone_names())
    return pages.page(
        "preferences.html",
        status,
        form=form,
        is_kept=is_kept,
        zones=zones,
        rows=choices.ROWS,
        now_utc_s=pages.clock(),
    )
