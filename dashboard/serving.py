"""Runs the dashboard: its store, its ear at the broker and its pages, until it is told to end.

The parts are put together here and nowhere else, for real use and for the demo alike.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from controller.errors import SettingsError
from dashboard.access.entry import Access
from dashboard.foresight import Foresight
from dashboard.ingest import Ingest
from dashboard.keeping.people import People, path_beside
from dashboard.live import LiveHub
from dashboard.notify.choices import NotifySettings, is_web, targets_in
from dashboard.notify.heartbeat import Heartbeat
from dashboard.notify.teller import Surroundings, Teller
from dashboard.reminders import Reminders
from dashboard.settings import DashboardSettings, WebSettings, secret
from dashboard.store import Store
from dashboard.web.app import Beside, create_app
from dashboard.web.leaves.told import Told

LOOK_S = 0.2  # Why: how soon a signal or the end of a demo's child is noticed.
GOODBYE_S = 2  # Why: a page being sent gets this long; streams are ended at once.
CONNECTIONS_MAX = 200  # Why: a household's pages, streams and devices; each costs a descriptor.
BACKLOG = 64  # Why: a household's browsers, each opening a handful of connections.


@dataclass(frozen=True, slots=True)
class Parts:
    """The running parts of a dashboard."""

    store: Store
    hub: LiveHub
    ingest: Ingest
    access: Access
    app: Starlette


@contextlib.contextmanager
def opened(
    settings: DashboardSettings, clock: Callable[[], float], note: str = ""
) -> Iterator[Parts]:
    """The dashboard's parts, listening to the broker; everything is committed and closed after.

    `clock` gives UTC in seconds; `note` stands on the pages where nobody is asked for a name.

    Raises:
        BarmkeepError: the store, a password or a certificate cannot be used; or nobody could sign
            in where everybody must.
    """
    with contextlib.ExitStack() as stack:
        store = Store.open(Path(settings.store.path))
        stack.callback(store.close)
        people = People(path_beside(Path(settings.store.path)))
        stack.callback(people.close)
        access = Access(people, clock, settings.web.always_asks)
        if access.asks and not people.has_users():
            raise SettingsError(
                "Visitors must sign in, and there is no user yet who could.",
                "Make one: barmkeep-dashboard user add NAME --role changer --settings FILE.",
            )
        hub = LiveHub()
        ingest = Ingest(settings.broker, store, hub, clock, settings.store.commit_s)
        foresight = Foresight(store)
        reminders = (Reminders(store, hub, foresight),)
        around = Surroundings(store, hub, clock, lambda: ingest.trouble, sources=reminders)
        told = _telling(settings.notify, around)
        ingest.start()
        stack.callback(ingest.stop)
        told.teller.start()
        stack.callback(told.teller.stop)
        if told.heartbeat is not None:
            told.heartbeat.start()
            stack.callback(told.heartbeat.stop)
        beside = Beside(access, note, lambda: ingest.trouble, ingest.say, told, foresight)
        app = create_app(store, hub, settings, clock, beside=beside)
        yield Parts(store, hub, ingest, access, app)


def _telling(settings: NotifySettings, around: Surroundings) -> Told:
    """Who is told what, not begun yet.

    Raises:
        BarmkeepError: a file with addresses cannot be used.
    """
    targets = targets_in(settings.targets_file) if settings.targets_file else ()
    teller = Teller(settings, targets, around)
    if settings.heartbeat_file is None:
        return Told(teller)
    address = secret(settings.heartbeat_file)
    if not is_web(address):
        raise SettingsError(
            f"The file {settings.heartbeat_file} holds no address of the web.",
            "Write the address alone into it, beginning with https://.",
        )
    beat = Heartbeat(address, settings.heartbeat_s, lambda: teller.is_well, around.clock)
    return Told(teller, beat)


def listening(web: WebSettings) -> socket.socket:
    """A socket bound to the address and port of the pages.

    Raises:
        SettingsError: the port is in use or may not be used, or the address is not this machine's.
    """
    where = f"{web.host}:{web.port}"
    family = socket.AF_INET6 if ":" in web.host else socket.AF_INET
    opened_socket = socket.socket(family, socket.SOCK_STREAM)
    try:
        opened_socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened_socket.bind((web.host, web.port))
        opened_socket.listen(BACKLOG)
    except OSError as error:
        opened_socket.close()
        if error.errno == errno.EADDRINUSE:
            what = f"Another program already listens on {where}."
        else:
            what = f"The pages cannot be served on {where}: {error.strerror}."
        raise SettingsError(what, "Stop it, or choose another port.") from error
    return opened_socket


def serve(app: Starlette, at: socket.socket, is_over: Callable[[], bool] = lambda: False) -> None:
    """Serve the pages until SIGINT or SIGTERM, or until `is_over` says so.

    The signals' former handlers are called again on the way out; that is uvicorn's way.
    """
    asyncio.run(_serve(app, at, is_over))


async def _serve(app: Starlette, at: socket.socket, is_over: Callable[[], bool]) -> None:
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            loop="asyncio",
            http="h11",
            ws="none",
            limit_concurrency=CONNECTIONS_MAX,
            timeout_graceful_shutdown=GOODBYE_S,
        )
    )

    async def end_streams() -> None:
        while not (server.should_exit or is_over()):
            await asyncio.sleep(LOOK_S)
        # Open streams would hold up the end; they must go before the server waits for them.
        app.state.streams.close()
        server.should_exit = True

    ending = asyncio.create_task(end_streams())
    try:
        await server.serve(sockets=[at])
    finally:
        ending.cancel()
