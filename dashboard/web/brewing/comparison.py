"""Batches of one kind of yeast beside each other, by the clock and by warmth; and all batches."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from dashboard.errors import EntryError
from dashboard.facts import Batch
from dashboard.fermentation.compare import BATCHES_MAX, Lane, Ran, compare
from dashboard.fermentation.strains import strain
from dashboard.sheet import words
from dashboard.strip import compared
from dashboard.web.brewing import found as batches
from dashboard.web.pages import Pages


@dataclass(frozen=True, slots=True)
class Row:
    """One batch of a comparison in words; an em dash where there are too few readings."""

    number: int
    name: str
    end: str
    half_h: str
    half_kh: str


def every(pages: Pages, request: Request) -> Response:
    """GET /batches"""
    found = pages.store.every_batch()
    kinds = _kinds(found)
    return pages.page("batches.html", batches=[(each, kind_name(each)) for each in found],
                      kinds=kinds, now_utc_s=pages.clock())  # fmt: skip


def show(pages: Pages, request: Request) -> Response:
    """GET /compare, with `kind=kveik`; without one the kind of the newest batch."""
    found = pages.store.every_batch()
    kinds = _kinds(found)
    asked = request.query_params.get("kind", "")
    kind = asked if asked in dict(kinds) else (found[0].strain if found else "")
    ran = [_ran(pages, each) for each in found if each.strain == kind][:BATCHES_MAX]
    able = [each for each in ran if each is not None]
    lanes = compare(able) if able else ()
    degree = "°F h" if pages.units.is_fahrenheit else "K h"
    factor = pages.units.difference(1.0)
    pictures = (
        compared.draw(lanes, lambda mark: mark.hour, "hours since pitching", "by-hours"),
        compared.draw(
            lanes,
            lambda mark: mark.degree_hours * factor,
            f"degree-hours, {degree}",
            "by-warmth",
        ),
    )
    return pages.page(
        "compare.html",
        kinds=kinds,
        kind=kind,
        degree=degree,
        rows=tuple(_row(number, lane, factor) for number, lane in enumerate(lanes, start=1)),
        pictures=tuple(map(Markup, pictures)) if lanes else (),
    )


def kind_name(batch: Batch) -> str:
    """The kind of yeast by its name."""
    try:
        return strain(batch.strain).name
    except EntryError:
        return batch.strain


def _kinds(found: tuple[Batch, ...]) -> tuple[tuple[str, str], ...]:
    """The kinds of yeast there are batches of, the newest first."""
    return tuple({each.strain: kind_name(each) for each in found}.items())


def _ran(pages: Pages, batch: Batch) -> Ran | None:
    found = batches.of(pages, batch)
    return pages.foresight.ran(batch, found.now_utc_s)


def _row(number: int, lane: Lane, factor: float) -> Row:
    end = words.percent(lane.marks[-1].attenuation) if len(lane.marks) > 1 else "—"
    half_h = "—" if lane.half_h is None else f"{lane.half_h:.0f}"
    half_kh = "—" if lane.half_degree_hours is None else f"{lane.half_degree_hours * factor:.0f}"
    return Row(number, lane.name, end, half_h, half_kh)
