"""The page of being told: to whom, when, how it stands, and a button to try each target.

Addresses are shown masked. Targets are changed in their file, not here: a page that could change
them could send every message elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dashboard.keeping.outbox import Delivery
from dashboard.notify.heartbeat import Heartbeat
from dashboard.notify.teller import Teller
from dashboard.web.pages import Pages

LEAST = {
    "high": "only what is dangerous",
    "medium": "what is dangerous, and what must be done soon",
    "low": "everything that asks for something to be done",
}


@dataclass(frozen=True, slots=True)
class Line:
    """How one target stands. `error` is what keeps the oldest waiting message from arriving."""

    name: str
    masked: str
    waiting: int
    arrived_utc_s: float | None
    error: str
    trial: tuple[float, str] | None


@dataclass(frozen=True, slots=True)
class Told:
    """The page and its buttons, over a running teller."""

    teller: Teller
    heartbeat: Heartbeat | None = None

    def show(self, pages: Pages, request: Request) -> Response:
        """GET /told"""
        deliveries = self.teller.deliveries()
        settings = self.teller.settings
        trials = self.teller.trials
        return pages.page(
            "told.html",
            lines=[
                _line(each.name, each.masked, deliveries, trials.get(each.name))
                for each in self.teller.targets
            ],
            deliveries=deliveries,
            least=LEAST[settings.least],
            quiet=(settings.quiet_from, settings.quiet_to),
            beat=self.heartbeat.beat if self.heartbeat else None,
            heartbeat_min=round(settings.heartbeat_s / 60),
            now_utc_s=pages.clock(),
        )

    def try_out(self, pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
        """POST /told: a trial for one target."""
        name = typed.get("target", "")
        if name not in {target.name for target in self.teller.targets}:
            raise HTTPException(409, "That target is not in the file any more.")
        self.teller.try_out(name)
        return RedirectResponse("/told#targets", 303)


def _line(
    name: str,
    masked: str,
    deliveries: Sequence[Delivery],
    trial: tuple[float, str] | None,
) -> Line:
    mine = [each for each in deliveries if each.target == name]
    waiting = [each for each in mine if each.state == "waiting"]
    arrived = [each.ended_utc_s for each in mine if each.state == "delivered"]
    error = next((each.error for each in mine if each.error), "")
    return Line(name, masked, len(waiting), arrived[0] if arrived else None, error, trial)
