"""The web application as a value: its routes, from top to bottom, behind its guard.

Each route is a `Way` with the role it needs; who is asking is found out by the gate before it. It
listens nowhere: that is `serving`'s.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from controller.errors import BarmkeepError
from controller.wire import Order
from dashboard.access.entry import Access
from dashboard.access.gate import CALENDAR, Gate, Proxies, Telling, everybody
from dashboard.access.roles import Role, visitor
from dashboard.access.ways import Way, is_for_machines, routes
from dashboard.api import problems
from dashboard.api.export import Export
from dashboard.api.metrics import Metrics
from dashboard.api.reading import Reading
from dashboard.api.table import operations
from dashboard.api.writing import Writing
from dashboard.foresight import Foresight
from dashboard.live import LiveHub
from dashboard.settings import DashboardSettings, WebSettings
from dashboard.sheet.units import Units
from dashboard.store import Store
from dashboard.web.brewing import account, calendar, comparison, packaging, planner, report
from dashboard.web.guard import Guard
from dashboard.web.leaves import batch, coming, notebook, orders, preferences
from dashboard.web.leaves.told import Told
from dashboard.web.pages import Pages
from dashboard.web.render import renderer
from dashboard.web.sign_in import SignIn
from dashboard.web.stream import Fresh, Streams

STATIC = Path(__file__).parents[1] / "static"
FIELDS_MAX = 20  # Why: the longest form has eight.
OWN_NAMES = ("127.0.0.1", "localhost", "[::1]")  # Why: what this machine calls itself.
COMPRESSED_BYTES_MIN = 800  # Why: below one packet there is nothing to gain.

ENTRY = "/chambers/{name}/entries/{kind}/{entry:int}"
ANYBODY, LOOKER, CHANGER = Role
REMEDIES = {
    401: "Sign in on another tab, then go back in this one and send it again.",
    403: "Open the page again and send it there; if it stays so, ask whoever runs this dashboard.",
    404: "Look at the address, or begin at all chambers.",
    405: "Open the page again and use its buttons.",
    409: "Open the chamber’s page again; nothing was written down.",
}


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside the pages.

    Args:
        access: who may come in; None: whoever reaches it, and nobody is asked for a name.
        note: what the foot of a page says where nobody is asked for a name.
        trouble: says what keeps the dashboard itself from hearing or keeping anything now.
        say: sends an order on its way; False: it could not be sent.
        told: the page of being told; None: nobody is.
        foresight: what is known of the batches; None: one of its own.
    """

    access: Access | None = None
    note: str = ""
    trouble: Callable[[], str | None] = lambda: None
    say: Callable[[Order], bool] = lambda _: False
    told: Told | None = None
    foresight: Foresight | None = None


ALONE = Beside()


def create_app(
    store: Store,
    hub: LiveHub,
    settings: DashboardSettings,
    clock: Callable[[], float],
    zone: tzinfo | None = None,
    beside: Beside = ALONE,
) -> Starlette:
    """The application. `clock` gives UTC seconds; a `zone` of None is this machine's.

    `app.state.streams.close()` ends the event streams; call it before the server waits for its
    connections to end.
    """
    render = renderer(beside.note, is_telling=beside.told is not None)
    usual = Units(zone=zone)
    pages = Pages(
        store,
        hub,
        beside.foresight or Foresight(store),
        render,
        clock,
        settings.hydrometer.calibrated_c,
        usual,
        beside.trouble,
        beside.say,
    )
    streams = Streams(hub)
    stream = _Streaming(streams, pages, beside.access)
    ways = (
        *_pages(pages, stream),
        *_brewing(pages),
        *_machines(store, hub, settings, clock),
    )
    if beside.told is not None:
        ways += _telling(beside.told, pages)
    if beside.access is not None:
        ways += SignIn(beside.access, pages).ways()
    of = beside.access.visitor if beside.access else everybody()
    app = Starlette(
        routes=[*routes(ways), Mount("/static", StaticFiles(directory=STATIC))],
        middleware=_gates(settings.web, of),
        exception_handlers=_refusals(pages),
    )
    app.state.streams = streams
    app.state.ways = ways
    return app


def _gates(web: WebSettings, of: Telling) -> list[Middleware]:
    """What every request passes, the first one first."""
    return [
        Middleware(Proxies, proxies=web.proxies),
        Middleware(Guard, hosts=(*OWN_NAMES, *web.names)),
        Middleware(GZipMiddleware, minimum_size=COMPRESSED_BYTES_MIN, compresslevel=6),
        Middleware(Gate, of=of),
    ]


def _pages(pages: Pages, stream: _Streaming) -> tuple[Way, ...]:
    """What people open."""
    return (
        Way("GET", "/", LOOKER, _page(pages, Pages.chambers)),
        Way("GET", "/stream", LOOKER, stream.of(Pages.chambers_fresh)),
        Way("GET", "/chambers/{name}", LOOKER, _page(pages, Pages.chamber)),
        Way("GET", "/chambers/{name}/stream", LOOKER, stream.of(Pages.chamber_fresh)),
        Way("POST", "/chambers/{name}/gravity", CHANGER, _form(pages, Pages.write_gravity)),
        Way("POST", "/chambers/{name}/gravity/strike", CHANGER, _form(pages, Pages.strike_out)),
        Way("GET", "/chambers/{name}/batch", CHANGER, _page(pages, batch.show)),
        Way("POST", "/chambers/{name}/batch", CHANGER, _form(pages, batch.write)),
        Way("POST", "/chambers/{name}/notes", CHANGER, _form(pages, notebook.write)),
        Way("POST", "/chambers/{name}/undo", CHANGER, _form(pages, notebook.undo)),
        Way("GET", ENTRY, CHANGER, _page(pages, notebook.show)),
        Way("POST", ENTRY, CHANGER, _form(pages, notebook.correct)),
        Way("POST", f"{ENTRY}/strike", CHANGER, _form(pages, notebook.strike)),
        Way("POST", "/chambers/{name}/orders", CHANGER, _form(pages, orders.give)),
        Way("POST", "/chambers/{name}/next", CHANGER, _form(pages, coming.settle)),
        Way("POST", "/chambers/{name}/plan", CHANGER, _form(pages, coming.plan)),
        Way("GET", "/preferences", LOOKER, _page(pages, preferences.show)),
        Way("POST", "/preferences", LOOKER, _form(pages, preferences.write)),
    )


def _brewing(pages: Pages) -> tuple[Way, ...]:
    """What the yeast does, batch by batch."""
    return (
        Way("GET", "/batches", LOOKER, _page(pages, comparison.every)),
        Way("GET", "/batches/{batch:int}", LOOKER, _page(pages, report.show)),
        Way("GET", "/batches/{batch:int}/report.html", LOOKER, _page(pages, report.download)),
        Way("GET", "/batches/{batch:int}/account", LOOKER, _page(pages, account.show)),
        Way("GET", "/batches/{batch:int}/packaging", LOOKER, _page(pages, packaging.show)),
        Way("GET", "/compare", LOOKER, _page(pages, comparison.show)),
        Way("GET", "/packaging-day", LOOKER, _page(pages, planner.show)),
        Way("GET", CALENDAR, LOOKER, _page(pages, calendar.give)),
    )


def _telling(told: Told, pages: Pages) -> tuple[Way, ...]:
    """Who is told what."""
    return (
        Way("GET", "/told", LOOKER, _page(pages, told.show)),
        Way("POST", "/told", CHANGER, _form(pages, told.try_out)),
    )


def _machines(
    store: Store, hub: LiveHub, settings: DashboardSettings, clock: Callable[[], float]
) -> tuple[Way, ...]:
    """What programs ask."""
    reading = Reading(store, hub, clock)
    writing = Writing(reading, settings.hydrometer.calibrated_c)
    asked = operations(reading, writing, Export(store, clock))
    who_may_watch = Role.ANYBODY if settings.web.open_metrics else Role.LOOKER
    metrics = Way("GET", "/metrics", who_may_watch, Metrics(store, hub, clock).answer)
    return (*(each.way() for each in asked), metrics)


def _page(
    pages: Pages, make: Callable[[Pages, Request], Response]
) -> Callable[[Request], Response]:
    """An endpoint that makes a page for whoever asks."""

    def endpoint(request: Request) -> Response:
        return make(pages.read_by(request), request)

    return endpoint


def _form(
    pages: Pages, write: Callable[[Pages, Request, Mapping[str, str]], Response]
) -> Callable[[Request], object]:
    """An endpoint that reads the form and then writes in a thread."""

    async def endpoint(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=FIELDS_MAX) as form:
            typed = {name: text for name, text in form.items() if isinstance(text, str)}
        own = pages.read_by(request, typed.get("units"))
        return await run_in_threadpool(write, own, request, typed)

    return endpoint


@dataclass(frozen=True, slots=True)
class _Streaming:
    """Makes endpoints that stream. A stream ends when its visitor would not be let in any more."""

    streams: Streams
    pages: Pages
    access: Access | None

    def of(self, make: Callable[[Pages, Request], Fresh]) -> Callable[[Request], object]:
        """Streams what `make` gives; an unknown chamber is refused before it opens."""

        async def endpoint(request: Request) -> Response:
            own, who = self.pages.read_by(request), visitor()

            def fresh() -> Fresh:
                if self.access is not None and not self.access.is_still(who):
                    raise BarmkeepError("You are not signed in any more.", "Sign in again.")
                return make(own, request)

            await run_in_threadpool(fresh)
            return await self.streams.answer(fresh, request.path_params.get("name"))

        return endpoint


def _refusals(pages: Pages) -> dict[int | type[Exception], Callable[..., Response]]:
    def unanswerable(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        if is_for_machines(request.url.path):
            problem = problems.RequestError(error.status_code, error.detail)
            return problems.answer(problem, error.headers)
        remedy = REMEDIES.get(error.status_code, "Open the page again.")
        answer = pages.read_by(request).refusal(error.status_code, error.detail, remedy)
        answer.headers.update(error.headers or {})
        return answer

    def broken(request: Request, error: Exception) -> Response:
        assert isinstance(error, BarmkeepError)
        if is_for_machines(request.url.path):
            return problems.answer(problems.RequestError(503, error.what, error.remedy))
        return pages.refusal(503, error.what, error.remedy)

    return {HTTPException: unanswerable, BarmkeepError: broken}
