"""Orders given by a person on a chamber's page.

One address takes every kind the page offers; what it means is the controller's to judge, and its
answer is shown on the page that follows. A temperature that cannot be meant comes back beside its
field (status 422). Nothing is asked of a chamber that is not heard.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from controller.order_kinds import HOLD_S_MAX, KIND_BY_NAME
from dashboard.errors import EntryError
from dashboard.sheet.asked import SHELF_HOURS
from dashboard.sheet.forms import Filled, Reader
from dashboard.web.pages import Pages

HOUR_S = 3600.0  # Source: SI brochure, table 8: 1 h = 3600 s.
HOLD_FOR_S: Mapping[str, float | None] = {
    "30": 1800.0,
    "60": 3600.0,
    "120": HOLD_S_MAX,
    "open": None,
}
SHELVE_FOR_S = {str(hours): hours * HOUR_S for hours in SHELF_HOURS}

_TARGET = next(each for each in KIND_BY_NAME["hold"].arguments if each.name == "target_c")
_LOW_C = -math.inf if _TARGET.low is None else _TARGET.low

Arguments: TypeAlias = dict[str, float | str | None]


def give(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /chambers/{name}/orders"""
    seen = pages.look_up(request)
    kind = typed.get("kind", "")
    if kind not in _ARGUMENTS:
        raise HTTPException(409, "That is nothing a chamber can be asked from here.")
    if not seen.is_live:
        raise HTTPException(409, "The chamber is not heard, so nothing was asked of it.")
    reader = Reader(dict(typed), pages.units)
    arguments = _ARGUMENTS[kind](reader, pages)
    if reader.errors:
        filled: Filled[Any] = Filled(reader.typed, errors=reader.errors)
        return pages.chamber_again(seen, hold_form=filled)
    try:
        pages.orders.give(seen.chamber, kind, pages.by().who, arguments)
    except EntryError as error:
        return pages.refusal(503, error.what, error.remedy)
    return RedirectResponse(f"/chambers/{seen.chamber}#asked", 303)


def _hold(reader: Reader, pages: Pages) -> Arguments:
    units = pages.units
    target_c = units.celsius(reader.number("target", f"{units.degrees(35.0):g}"))
    if "target" not in reader.errors and not _LOW_C <= target_c <= _TARGET.high:
        low, high = units.degrees(_LOW_C), units.degrees(_TARGET.high)
        reader.errors["target"] = f"Type a temperature from {low:g} to {high:g} {units.degree}."
    return {
        "target_c": round(target_c, 2),
        "for_s": HOLD_FOR_S.get(reader.typed.get("for", ""), HOLD_S_MAX),
    }


def _code(reader: Reader, pages: Pages) -> Arguments:
    return {"code": reader.typed.get("code") or None}


def _shelve(reader: Reader, pages: Pages) -> Arguments:
    return {
        "code": reader.typed.get("code") or None,
        "for_s": SHELVE_FOR_S.get(reader.typed.get("for", ""), HOUR_S),
    }


def _none(reader: Reader, pages: Pages) -> Arguments:
    return {}


_ARGUMENTS: Mapping[str, Callable[[Reader, Pages], Arguments]] = {
    "hold": _hold,
    "resume": _none,
    "next": _none,
    "end": _none,
    "acknowledge": _code,
    "shelve": _shelve,
    "unshelve": _code,
    "release": _code,
}
