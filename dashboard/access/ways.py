"""A way into the dashboard: a method, a path, what it needs, and what answers.

The routes of the pages and of the interfaces are tables of these, so that no route can be without
its role. Whoever lacks the role is refused before the answer is begun, and so is a change whose
form does not bring back the seal of the page it was sent from.
"""

from __future__ import annotations

import functools
import hmac
import inspect
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from dashboard.access.roles import How, Role, Visitor, visitor

FIELDS_MAX = 60  # Why: three times the longest form; the guard bounds their bytes.
FILES_MAX = 4  # Why: a photo or two beside a note; the guard bounds their bytes.
SEAL_FIELD = "seal"
SEAL_HEADER = "x-barmkeep-seal"
SIGN_IN = "/sign-in"
# Why: what answers programs; they follow no redirect.
MACHINE_PATHS = ("/api/", "/metrics", "/calendar.ics")


@dataclass(frozen=True, slots=True)
class Way:
    """One row of the table of routes. `endpoint` is a Starlette endpoint, plain or async."""

    method: str
    path: str
    needs: Role
    endpoint: Callable[[Request], Any]


def routes(ways: Iterable[Way]) -> list[Route]:
    """The same for Starlette: a route for each path, so that a wrong method is told which are
    right.
    """
    by_path: dict[str, dict[str, Callable[[Request], Awaitable[Response]]]] = {}
    for way in ways:
        methods = by_path.setdefault(way.path, {})
        assert way.method not in methods, f"{way.method} {way.path} stands there twice"
        methods[way.method] = _guarded(way)
    return [
        Route(path, _by_method(methods), methods=[*methods]) for path, methods in by_path.items()
    ]


def _by_method(
    methods: dict[str, Callable[[Request], Awaitable[Response]]],
) -> Callable[[Request], Awaitable[Response]]:
    async def endpoint(request: Request) -> Response:
        return await methods["GET" if request.method == "HEAD" else request.method](request)

    return endpoint


def is_for_machines(path: str) -> bool:
    """Whether a program and not a browser's page is answered here."""
    return path.startswith(MACHINE_PATHS)


def _guarded(way: Way) -> Callable[[Request], Awaitable[Response]]:
    @functools.wraps(way.endpoint)
    async def endpoint(request: Request) -> Response:
        who = visitor()
        refusal = _refusal(way, who, request)
        if refusal is not None:
            return refusal
        if way.method != "GET" and who.how is not How.TOKEN:
            await _check_seal(request, who)
        if inspect.iscoroutinefunction(way.endpoint):
            answer = await way.endpoint(request)
        else:
            answer = await run_in_threadpool(way.endpoint, request)
        assert isinstance(answer, Response)
        return answer

    return endpoint


def _refusal(way: Way, who: Visitor, request: Request) -> Response | None:
    """None when the visitor may come in, or the way to the sign-in page.

    Raises:
        HTTPException: 401 or 403.
    """
    if who.role.includes(way.needs):
        return None
    if who.how is not How.NOBODY:
        raise HTTPException(403, f"{who.name} may look, but not change anything.")
    if is_for_machines(request.url.path) or way.method != "GET":
        raise HTTPException(401, "You are not signed in.", {"www-authenticate": "Bearer"})
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse(f"{SIGN_IN}?next={quote(here, safe='/')}", 303)


async def _check_seal(request: Request, who: Visitor) -> None:
    """Raises:
    HTTPException: 403, the change was not sent from a page of this session.
    """
    brought: object = request.headers.get(SEAL_HEADER)
    if brought is None:
        form = await request.form(max_files=FILES_MAX, max_fields=FIELDS_MAX)
        brought = form.get(SEAL_FIELD)
    is_ours = isinstance(brought, str) and hmac.compare_digest(brought.encode(), who.seal.encode())
    if not (who.seal and is_ours):
        raise HTTPException(403, "This form was not sent from a page that is still open to you.")
