"""How long a batch took, and why, as a page."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from dashboard.sheet import accounted
from dashboard.web.brewing import found as batches
from dashboard.web.pages import Pages


def show(pages: Pages, request: Request) -> Response:
    """GET /batches/{batch}/account"""
    found = batches.named(pages, request)
    account = pages.foresight.account(found.batch, found.now_utc_s)
    return pages.page(
        "account.html",
        batch=found.batch,
        sentences=accounted.told(account, found.batch, pages.units),
        parts=accounted.parts(account),
    )
