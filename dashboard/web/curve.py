"""The curve of a chamber's page: fetches the window, and makes the picture or the table of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from controller.wire import EventState
from dashboard import series
from dashboard.facts import Batch, Curve
from dashboard.fermentation.advice.items import BatchView
from dashboard.sheet import notes, readings, words
from dashboard.sheet.seen import Seen
from dashboard.sheet.troubles import told
from dashboard.sheet.units import Units
from dashboard.store import Store
from dashboard.strip import draw, windows
from dashboard.strip.picture import GravityPoint, Mark, Picture
from dashboard.strip.windows import Link
from dashboard.web import foretold, look
from dashboard.web.foretold import TableRow

BUCKETS = 640  # Why: twice a phone's columns; a week of them is about 12 kB compressed.
BUCKET_S_MIN = 20.0  # Why: a few ticks make a bucket; beer does nothing in less.
TABLE_ROWS = 48  # Why: half-hours of a day; more is not read by anybody.


@dataclass(frozen=True, slots=True)
class Shown:
    """What the template needs. Exactly one of `svg` and `table` is set."""

    title: str
    choices: tuple[Link, ...]
    moves: tuple[Link, ...]
    href: str
    other_view: str
    every_s: float
    follows: bool
    has_gravities: bool
    has_batch: bool
    svg: Markup | None = None
    table: tuple[TableRow, ...] | None = None
    has_course: bool = False


def shown(
    store: Store,
    seen: Seen,
    query: Mapping[str, str],
    units: Units,
    view: BatchView | None = None,
) -> Shown:
    """The curve an address asks for; with a view of the batch, what is foretold stands on it."""
    end_utc_s = None if view is None else foretold.end_utc_s(view)
    window = windows.chosen(query, seen.batch, seen.now_utc_s, end_utc_s)
    as_table = "table" if query.get("view") == "table" else ""
    base = f"/chambers/{seen.chamber}"
    curve = series.window(
        store,
        seen.chamber,
        window.from_utc_s,
        window.to_utc_s + 1,
        TABLE_ROWS if as_table else int(min(BUCKETS, window.span_s / BUCKET_S_MIN)),
    )
    picture = _picture(store, seen, curve, units, view)
    with_ahead = end_utc_s is not None and end_utc_s > seen.now_utc_s + words.HOUR_S
    return Shown(
        picture.title,
        windows.choices(base, window, seen.batch, as_table, with_ahead=with_ahead),
        windows.moves(base, window, seen.now_utc_s, as_table),
        windows.here(base, window, as_table),
        windows.here(base, window, "" if as_table else "table"),
        windows.every_s(window, curve.bucket_s),
        bool(window.key),
        bool(picture.gravities),
        seen.batch is not None,
        None if as_table else Markup(draw.draw(picture)),  # noqa: S704 - draw escapes every text
        foretold.rows(curve, picture.course) if as_table else None,
        bool(picture.course),
    )


def whole_batch(store: Store, seen: Seen, units: Units, view: BatchView | None) -> Markup:
    """The curve of a batch from pitching to the now it is seen at, for a report."""
    window = windows.chosen({"window": "batch"}, seen.batch, seen.now_utc_s)
    curve = series.window(store, seen.chamber, window.from_utc_s, window.to_utc_s + 1, BUCKETS)
    return Markup(draw.draw(_picture(store, seen, curve, units, view)))  # noqa: S704 - escaped


def _picture(
    store: Store, seen: Seen, curve: Curve, units: Units, view: BatchView | None
) -> Picture:
    now = seen.now_utc_s
    from_text = words.moment(curve.from_utc_s, now, units.zone)
    title = f"{seen.chamber}, {from_text} to {words.moment(curve.to_utc_s, now, units.zone)}"
    return Picture(
        curve,
        title,
        _described(curve, units),
        _marks(store, seen, units),
        _gravities(store, seen.batch, units),
        None if seen.batch is None else seen.batch.pitched_utc_s,
        units,
        seen.now_utc_s,
        () if view is None else foretold.course(view),
        () if view is None else foretold.windows(view, now, units),
    )


def _described(curve: Curve, units: Units) -> str:
    """What the picture shows, in words, for who cannot see it."""
    lows = [each.beer_low_c for each in curve.buckets if each.beer_low_c is not None]
    highs = [each.beer_high_c for each in curve.buckets if each.beer_high_c is not None]
    if not lows or not highs:
        return "No beer temperature was read in this time."
    heat = sum(each.heat_share for each in curve.buckets) / len(curve.buckets)
    last = next(each for each in reversed(curve.buckets) if each.beer_mean_c is not None)
    low, high = words.temperature(min(lows), units), words.temperature(max(highs), units)
    return (
        f"The beer was between {low} and {high}, and at "
        f"{words.temperature(last.beer_mean_c, units)} at the end. Heat was on "
        f"{words.percent(heat)} of the time. The same as a table is one link away."
    )


def _marks(store: Store, seen: Seen, units: Units) -> tuple[Mark, ...]:
    happened = look.events(store, seen)
    alarms = (
        Mark(event.utc_s, "alarm", told(event, units))
        for event in happened
        if event.priority and event.state in (EventState.RAISED, EventState.TRIPPED)
    )
    changed = (
        Mark(event.utc_s, f"step {event.step}")
        for event in happened
        if event.step is not None and event.state == EventState.CHANGED
    )
    if seen.batch is None:
        return (*changed, *alarms)
    written = (
        Mark(each.at_utc_s, notes.KINDS[each.kind].mark, " ".join(each.text.split()))
        for each in store.notes(seen.batch.id)
    )
    return (Mark(seen.batch.pitched_utc_s, "pitched"), *written, *changed, *alarms)


def _gravities(store: Store, batch: Batch | None, units: Units) -> tuple[GravityPoint, ...]:
    if batch is None:
        return ()
    return tuple(
        GravityPoint(row.reading.taken_utc_s, row.corrected_sg)
        for row in readings.rows(batch, store.gravities(batch.id), units)
        if row.corrected_sg is not None
    )
