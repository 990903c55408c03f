"""What is foretold of a batch, as a curve and a table need it: points, windows and rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from dashboard.facts import Bucket, Curve
from dashboard.fermentation.advice.agenda import agenda
from dashboard.fermentation.advice.items import BatchView, Kind
from dashboard.sheet import ahead
from dashboard.sheet.units import Units
from dashboard.strip.picture import CoursePoint, Window

# Why: what a brewer looks for on the curve; readings and steps stand in the list.
NAMES = {
    Kind.DRY_HOP: "dry hops",
    Kind.HOPS_OUT: "hops out",
    Kind.TERMINAL: "terminal gravity",
    Kind.PACKAGE: "package",
}


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line of the curve's table; the reckoned gravity is None where nothing is foretold."""

    bucket: Bucket
    course: CoursePoint | None


def course(view: BatchView) -> tuple[CoursePoint, ...]:
    """The reckoned gravity over time."""
    return tuple(
        CoursePoint(view.utc_s(each.hour), each.sg.low, each.sg.middle, each.sg.high)
        for each in view.forecast.curve
    )


def end_utc_s(view: BatchView) -> float | None:
    """Until when it is worth looking ahead; None for a batch that is over."""
    if view.batch.ended_utc_s is not None or not view.forecast.curve:
        return None
    return view.utc_s(view.forecast.curve[-1].hour)


def windows(view: BatchView, now_utc_s: float, units: Units) -> tuple[Window, ...]:
    """When the things are due that a brewer looks for on the curve."""
    found = []
    for item in agenda(view, now_utc_s):
        if item.kind in NAMES:
            to_utc_s = item.due_utc_s if item.to_utc_s is None else item.to_utc_s
            detail = f"{item.title}: {ahead.item_when(item, now_utc_s, units)}"
            found.append(Window(item.from_utc_s, to_utc_s, NAMES[item.kind], detail))
    return tuple(found)


def rows(curve: Curve, points: Sequence[CoursePoint]) -> tuple[TableRow, ...]:
    """The curve's buckets, the newest first, with the gravity reckoned for their middle."""
    return tuple(
        TableRow(each, _at(points, each.start_utc_s + curve.bucket_s / 2))
        for each in curve.buckets[::-1]
    )


def _at(points: Sequence[CoursePoint], utc_s: float) -> CoursePoint | None:
    for before, after in pairwise(points):
        if before.utc_s <= utc_s <= after.utc_s:
            share = (utc_s - before.utc_s) / (after.utc_s - before.utc_s)
            return CoursePoint(
                utc_s,
                before.low_sg + share * (after.low_sg - before.low_sg),
                before.middle_sg + share * (after.middle_sg - before.middle_sg),
                before.high_sg + share * (after.high_sg - before.high_sg),
            )
    return None
