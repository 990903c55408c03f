"""The real application on a real port of this machine, in a thread, for a real browser."""

from __future__ import annotations

import contextlib
import shutil
import threading
from collections.abc import Callable, Iterator
from zoneinfo import ZoneInfo

from playwright.sync_api import Browser, sync_playwright
from starlette.applications import Starlette

from dashboard.live import LiveHub
from dashboard.serving import listening, serve
from dashboard.settings import WebSettings, settings_of
from dashboard.store import Store
from dashboard.web.app import create_app
from tests.broker import free_port

ZONE = ZoneInfo("Europe/Stockholm")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@contextlib.contextmanager
def running(app: Starlette) -> Iterator[str]:
    """The address of this application, served as in real use."""
    port = free_port()
    over = threading.Event()
    with listening(WebSettings(port=port)) as at:
        thread = threading.Thread(target=serve, args=(app, at, over.is_set), daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{port}"
        over.set()
        thread.join(10)
        assert not thread.is_alive(), "the server did not end"


@contextlib.contextmanager
def served(store: Store, hub: LiveHub, clock: Callable[[], float]) -> Iterator[str]:
    """The address of a dashboard over this store, without a broker."""
    settings = settings_of('[store]\npath = "unused.sqlite"\n')
    with running(create_app(store, hub, settings, clock, ZONE)) as address:
        yield address


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """A real browser; says what to install when there is none."""
    path = shutil.which("chromium")
    assert path, "No chromium on this machine. Install it: apt-get install chromium."
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()
