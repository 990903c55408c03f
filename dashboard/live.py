"""The newest of every chamber, and everybody who wants to be told of it.

Freshness is judged by when a message was heard, on the dashboard's own clock, never by the time a
controller wrote into it. Messages come from the broker's thread; listeners live on the web
server's event loop, each with a short queue of its own that drops its oldest when the listener is
slow, so that nobody can hold up the rest. Nothing here is kept: the store does that.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace

from controller.errors import BarmkeepError
from controller.wire import Event, Presence, PresenceState, Tick

QUEUE_MAX = 32  # Why: a listener that is half a minute behind wants the newest, not the rest.
CHAMBERS_MAX = 200  # Why: as many as the store takes; a broken sender must not fill the memory.
LISTENERS_MAX = 200  # Why: far beyond one household; each costs a queue and a file descriptor.


@dataclass(frozen=True, slots=True)
class Live:
    """The newest of one chamber.

    `number` rises with every change anywhere in the hub. `heard_utc_s` is when this chamber was
    last heard, in UTC by the dashboard's clock; None when all that is known of it was kept by the
    broker or the store from before this program began. `event` is set when this change is one.
    """

    chamber: str
    number: int
    tick: Tick | None = None
    presence: Presence | None = None
    heard_utc_s: float | None = None
    event: Event | None = None


class Listener:
    """One listener's own queue. `dropped` counts what it was too slow for."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._waiting: deque[Live] = deque(maxlen=QUEUE_MAX)
        self._woken = asyncio.Event()
        self._wake_is_coming = False
        self.dropped = 0

    def tell(self, news: Live) -> None:
        """From any thread. Wakes the listener once, however much comes before it looks."""
        self.dropped += len(self._waiting) == QUEUE_MAX
        self._waiting.append(news)
        # Appended first, asked second: a wake-up still on its way will find what was appended.
        if not self._wake_is_coming:
            self._wake_is_coming = True
            with contextlib.suppress(RuntimeError):  # The server's loop may just have ended.
                self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        self._wake_is_coming = False
        self._woken.set()

    async def next(self) -> Live:
        """The oldest change not yet seen; waits for one."""
        while True:
            try:
                return self._waiting.popleft()
            except IndexError:
                await self._woken.wait()
                self._woken.clear()


class LiveHub:
    """The newest of every chamber. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._newest: dict[str, Live] = {}
        self._listeners: set[Listener] = set()
        self._number = 0

    def recall(
        self,
        chamber: str,
        tick: Tick | None,
        presence: Presence | None,
        heard_utc_s: float | None,
    ) -> None:
        """Begin with what the store knows of a chamber."""
        with self._lock:
            self._number += 1
            self._newest[chamber] = Live(chamber, self._number, tick, presence, heard_utc_s)

    def heard(self, message: Tick | Event | Presence, utc_s: float, retained: bool) -> None:
        """Take in a message heard at this time.

        A `retained` one was kept by the broker, for nobody knows how long, so it says nothing of
        when its chamber was heard; and the broker's own word that a controller is lost is not that
        controller's word. Beyond `CHAMBERS_MAX` no new chamber is taken in.
        """
        with self._lock:
            if message.chamber not in self._newest and len(self._newest) >= CHAMBERS_MAX:
                return
            old = self._newest.get(message.chamber) or Live(message.chamber, 0)
            if isinstance(message, Tick):
                new = replace(old, tick=_newer(old.tick, message), event=None)
            elif isinstance(message, Presence):
                new = replace(old, presence=message, event=None)
            else:
                new = replace(old, event=message)
            is_lost = isinstance(message, Presence) and message.state == PresenceState.LOST
            if not retained and not is_lost:
                new = replace(new, heard_utc_s=utc_s)
            self._number += 1
            new = replace(new, number=self._number)
            self._newest[message.chamber] = new
            for listener in self._listeners:
                listener.tell(new)

    def stir(self, chamber: str) -> None:
        """Something else about a chamber has changed, so whoever looks at it should look again."""
        with self._lock:
            old = self._newest.get(chamber)
            if old is None:
                return
            self._number += 1
            new = replace(old, number=self._number, event=None)
            self._newest[chamber] = new
            for listener in self._listeners:
                listener.tell(new)

    def newest(self, chamber: str) -> Live | None:
        """The newest of one chamber; None when nothing is known of it."""
        with self._lock:
            return self._newest.get(chamber)

    def all_newest(self) -> tuple[Live, ...]:
        """The newest of every chamber, by name."""
        with self._lock:
            return tuple(live for _, live in sorted(self._newest.items()))

    @contextlib.contextmanager
    def subscribe(self) -> Iterator[Listener]:
        """A listener for as long as the block lasts. Only inside a running event loop.

        Raises:
            BarmkeepError: there are `LISTENERS_MAX` already.
        """
        listener = Listener(asyncio.get_running_loop())
        with self._lock:
            if len(self._listeners) >= LISTENERS_MAX:
                raise BarmkeepError(
                    f"{LISTENERS_MAX} pages are listening already.", "Close some of them."
                )
            self._listeners.add(listener)
        try:
            yield listener
        finally:
            with self._lock:
                self._listeners.discard(listener)


def _newer(old: Tick | None, new: Tick) -> Tick:
    """The newer of two ticks. Within a boot the sequence decides, since clocks may be put back."""
    if old is None:
        return new
    if old.boot == new.boot:
        return new if new.seq > old.seq else old
    return new if new.utc_s >= old.utc_s else old
