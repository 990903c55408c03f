"""The event stream: a fresh part of the page within a second of every tick that is heard.

Every event carries the whole present state as a piece of page, so nothing has to be made up after a
lost connection: the next event is enough. When nothing is heard the page is still made again at
each heartbeat, because silence is news too. Streams are few, slow readers are let go, and all end
when the server stops.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.responses import PlainTextResponse, Response, StreamingResponse

from controller.errors import BarmkeepError
from dashboard.live import Listener, LiveHub

RETRY_MS = 3000  # Why: a dashboard restarts within seconds; a phone should not hammer it.
HEARTBEAT_S = 15.0  # Why: under the 30 s after which a phone's network forgets a quiet connection.
REST_S = 0.4  # Why: a page changes at most twice a second, however fast ticks come.
STREAMS_MAX = 40  # Why: a household with many pages open; each costs a coroutine and a queue.


@dataclass(frozen=True, slots=True)
class Fresh:
    """What a page shows now. `identity` changes whenever a tick does."""

    identity: str
    title: str
    html: str


class Streams:
    """All open streams of one server."""

    def __init__(self, hub: LiveHub) -> None:
        self._hub = hub
        self._open = 0
        self._ends: set[asyncio.Event] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._is_closed = False

    def close(self) -> None:
        """End every stream; from any thread, or a signal. None can be opened afterwards."""
        self._is_closed = True
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):  # The loop has just ended by itself.
                self._loop.call_soon_threadsafe(self._end_all)

    def _end_all(self) -> None:
        for end in self._ends:
            end.set()

    async def answer(self, make: Callable[[], Fresh], chamber: str | None) -> Response:
        """A stream of what `make` gives (called in a thread), for one chamber or for all."""
        if self._open >= STREAMS_MAX or self._is_closed:
            return PlainTextResponse(
                f"{self._open} pages are open already. Close one; this page goes on by hand.",
                status_code=503,
                headers={"retry-after": "30"},
            )
        return StreamingResponse(
            self._frames(make, chamber),
            media_type="text/event-stream",
            headers={"cache-control": "no-store", "x-accel-buffering": "no"},
        )

    async def _frames(self, make: Callable[[], Fresh], chamber: str | None) -> AsyncIterator[str]:
        end = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._ends.add(end)
        self._open += 1
        try:
            with self._hub.subscribe() as listener:
                yield f"retry: {RETRY_MS}\n\n"
                last: Fresh | None = None
                while not self._is_closed:
                    fresh = await run_in_threadpool(make)
                    yield frame(fresh, last)
                    last = fresh
                    await asyncio.sleep(REST_S)
                    await _news_or(end, listener, chamber)
        except BarmkeepError as error:
            yield f": {error}\n\n"
        finally:
            self._open -= 1
            self._ends.discard(end)


def frame(fresh: Fresh, last: Fresh | None) -> str:
    """The events that bring a page from `last` to `fresh`; a comment when nothing differs."""
    parts = []
    if last is None or fresh.title != last.title:
        parts.append(f"event: title\ndata: {' '.join(fresh.title.split())}\n\n")
    if last is None or fresh.html != last.html:
        lines = "".join(f"data: {line}\n" for line in fresh.html.splitlines() if line.strip())
        parts.append(f"event: now\nid: {fresh.identity}\n{lines}\n")
    return "".join(parts) or ": nothing new\n\n"


async def _news_or(end: asyncio.Event, listener: Listener, chamber: str | None) -> None:
    """Waits for something new of this chamber (None: of any), the end, or the next heartbeat."""
    waits = {asyncio.ensure_future(_news(listener, chamber)), asyncio.ensure_future(end.wait())}
    try:
        await asyncio.wait(waits, timeout=HEARTBEAT_S, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for wait in waits:
            wait.cancel()
        await asyncio.gather(*waits, return_exceptions=True)


async def _news(listener: Listener, chamber: str | None) -> bool:
    while True:
        news = await listener.next()
        if chamber is None or news.chamber == chamber:
            return True
