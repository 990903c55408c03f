"""The sign of life: an address outside is called while all is well, and only then.

Whoever is called notices when the calls stop, and covers what this machine cannot tell by itself:
its own end, and that of its network. A call that fails is tried again at the next turn.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from dashboard.notify import webhook
from dashboard.notify.webhook import SendError

FIRST_S = 5.0  # Why: by then the broker has answered, if it will.


@dataclass(frozen=True, slots=True)
class Beat:
    """How it stands: when a call was last answered, and what went wrong with the last one."""

    arrived_utc_s: float | None = None
    error: str = ""


class Heartbeat:
    """Calls `address` every `every_s` while `is_well` says so."""

    def __init__(
        self,
        address: str,
        every_s: float,
        is_well: Callable[[], bool],
        clock: Callable[[], float],
    ) -> None:
        self._address = address
        self._every_s = every_s
        self._is_well = is_well
        self._clock = clock
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)
        self.beat = Beat()

    def start(self) -> None:
        """Begin to call."""
        self._thread.start()

    def stop(self) -> None:
        """Stop calling; a call under way is let go."""
        self._over.set()
        self._thread.join(webhook.TIMEOUT_S)

    def call(self) -> None:
        """One call, if all is well."""
        if not self._is_well():
            self.beat = Beat(self.beat.arrived_utc_s, "Not called: the dashboard is not well.")
            return
        try:
            webhook.ask(self._address, "GET")
        except SendError as error:
            self.beat = Beat(self.beat.arrived_utc_s, str(error))
        else:
            self.beat = Beat(self._clock())

    def _run(self) -> None:
        wait_s = min(FIRST_S, self._every_s)
        while not self._over.wait(wait_s):
            self.call()
            wait_s = self._every_s
