"""The web application as a value: its routes, from top to bottom, behind its guard.

It listens nowhere (that is `__main__`'s) and knows no people yet, so it may only be reached from
this machine; the settings refuse anything else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import tzinfo
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from controller.errors import BarmkeepError
from dashboard.live import LiveHub
from dashboard.settings import DashboardSettings
from dashboard.store import Store
from dashboard.web.guard import Guard
from dashboard.web.pages import Pages
from dashboard.web.render import renderer
from dashboard.web.stream import Fresh, Streams

STATIC = Path(__file__).parents[1] / "static"
FIELDS_MAX = 20  # Why: the longest form has eight.
OWN_NAMES = ("127.0.0.1", "localhost", "[::1]")  # Why: what this machine calls itself.
COMPRESSED_BYTES_MIN = 800  # Why: below one packet there is nothing to gain.

REMEDIES = {
    404: "Look at the address, or begin at all chambers.",
    405: "Open the page again and use its buttons.",
    409: "Open the chamber’s page again; nothing was written down.",
}


def create_app(
    store: Store,
    hub: LiveHub,
    settings: DashboardSettings,
    clock: Callable[[], float],
    zone: tzinfo | None = None,
    trouble: Callable[[], str | None] = lambda: None,
) -> Starlette:
    """The application. `clock` gives UTC seconds; a `zone` of None is this machine's; `trouble`
    says what keeps the dashboard itself from hearing or keeping anything now.

    `app.state.streams.close()` ends the event streams; call it before the server waits for its
    connections to end.
    """
    render = renderer(zone)
    pages = Pages(store, hub, render, clock, settings.hydrometer.calibrated_c, zone, trouble)
    streams = Streams(hub)
    app = Starlette(
        routes=[
            Route("/", pages.chambers),
            Route("/stream", _stream(streams, lambda _: pages.chambers_fresh())),
            Route("/chambers/{name}", pages.chamber),
            Route("/chambers/{name}/stream", _stream(streams, pages.chamber_fresh)),
            Route("/chambers/{name}/gravity", _form(pages.write_gravity), methods=["POST"]),
            Route("/chambers/{name}/gravity/strike", _form(pages.strike_out), methods=["POST"]),
            Route("/chambers/{name}/batch", pages.batch),
            Route("/chambers/{name}/batch", _form(pages.write_batch), methods=["POST"]),
            Mount("/static", StaticFiles(directory=STATIC)),
        ],
        middleware=[
            Middleware(Guard, hosts=(*OWN_NAMES, *settings.web.names)),
            Middleware(GZipMiddleware, minimum_size=COMPRESSED_BYTES_MIN, compresslevel=6),
        ],
        exception_handlers=_refusals(pages),
    )
    app.state.streams = streams
    return app


def _form(
    write: Callable[[Request, Mapping[str, str]], Response],
) -> Callable[[Request], object]:
    """An endpoint that reads the form and then writes in a thread."""

    async def endpoint(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=FIELDS_MAX) as form:
            typed = {name: text for name, text in form.items() if isinstance(text, str)}
        return await run_in_threadpool(write, request, typed)

    return endpoint


def _stream(streams: Streams, make: Callable[[Request], Fresh]) -> Callable[[Request], object]:
    """An endpoint that streams what `make` gives; an unknown chamber is refused before it opens."""

    async def endpoint(request: Request) -> Response:
        await run_in_threadpool(make, request)
        return await streams.answer(lambda: make(request), request.path_params.get("name"))

    return endpoint


def _refusals(pages: Pages) -> dict[int | type[Exception], Callable[..., Response]]:
    def unanswerable(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        remedy = REMEDIES.get(error.status_code, "Open the page again.")
        return pages.refusal(error.status_code, error.detail, remedy)

    def broken(request: Request, error: Exception) -> Response:
        assert isinstance(error, BarmkeepError)
        return pages.refusal(503, error.what, error.remedy)

    return {HTTPException: unanswerable, BarmkeepError: broken}
