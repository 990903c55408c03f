"""Which batch an address names, and the now by which it is judged."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.requests import Request

from dashboard.facts import Batch
from dashboard.fermentation.advice.items import BatchView
from dashboard.sheet.seen import Seen
from dashboard.web import look
from dashboard.web.pages import Pages


@dataclass(frozen=True, slots=True)
class Found:
    """A batch, its chamber as it is seen now, and its own now: its end once it has ended."""

    batch: Batch
    seen: Seen | None
    now_utc_s: float
    view: BatchView | None


def named(pages: Pages, request: Request) -> Found:
    """The batch an address names.

    Raises:
        HTTPException: 404, there is none.
    """
    batch = pages.store.batch(request.path_params["batch"])
    if batch is None:
        raise HTTPException(404, "No such batch.")
    return of(pages, batch)


def of(pages: Pages, batch: Batch) -> Found:
    """What is known of this batch."""
    seen = look.seen(pages.store, pages.hub, batch.chamber, pages.clock())
    now_utc_s = pages.clock() if seen is None else pages.now(seen)
    if batch.ended_utc_s is not None:
        now_utc_s = min(now_utc_s, batch.ended_utc_s)
    tick = seen.tick if seen is not None and seen.is_live and seen.batch == batch else None
    return Found(batch, seen, now_utc_s, pages.foresight.view(batch, now_utc_s, tick))


def running(pages: Pages) -> tuple[Found, ...]:
    """Every batch that is in a chamber now and can be foretold."""
    batches = [each for each in pages.store.every_batch() if each.ended_utc_s is None]
    found = (of(pages, each) for each in batches)
    return tuple(each for each in found if each.view is not None)
