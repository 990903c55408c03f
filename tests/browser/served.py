"""The real application on a real port of this machine, in a thread, for a real browser."""

from __future__ import annotations

import contextlib
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from zoneinfo import ZoneInfo

import uvicorn
from playwright.sync_api import Browser, sync_playwright

from dashboard.app import create_app
from dashboard.live import LiveHub
from dashboard.settings import settings_of
from dashboard.store import Store

ZONE = ZoneInfo("Europe/Stockholm")
FLAGS = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync"
).split()


@contextlib.contextmanager
def served(store: Store, hub: LiveHub, clock: Callable[[], float]) -> Iterator[str]:
    """The address of a running dashboard."""
    settings = settings_of('[store]\npath = "unused.sqlite"\n')
    app = create_app(store, hub, settings, clock, ZONE)
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        app.state.streams.close()
        server.should_exit = True
        thread.join(10)
        listening.close()
        assert not thread.is_alive(), "the server did not end"


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """A real browser; says what to install when there is none."""
    path = shutil.which("chromium")
    assert path, "No chromium on this machine. Install it: apt-get install chromium."
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()
