"""A window of a chamber's history, thinned to what a chart can show.

It picks the coarsest of the kept thinnings that still has a row for every point of the curve, and
the ticks themselves for a short window; then no window costs more than some thousand rows. Every
point keeps its least and greatest, so a spike is never thinned away. A stretch without ticks gives
no point: a gap is drawn as a gap. Lines not yet committed are in the curve.
"""

from __future__ import annotations

import math

from dashboard.errors import EntryError
from dashboard.facts import Curve
from dashboard.keeping.rollup import TABLES, Sums, stored
from dashboard.store import Store

BUCKETS_MAX = 1000  # Why: more points than a wide screen has columns to draw them in.
# Why: a point must be a whole multiple of a thinning's step. Up to a third fewer points than asked
# for is not seen; more is, so a finer thinning is taken then, of under 14 rows to a point.
ROUNDING_MAX = 1.5


def window(
    store: Store, chamber: str, from_utc_s: float, to_utc_s: float, buckets: int = 500
) -> Curve:
    """The curve of a chamber from one time to another, in at most `buckets` points (2 to 1000).

    Points are aligned to whole multiples of their length, so that a curve does not shimmer as the
    window moves along; the first may begin a little before the window.

    Raises:
        EntryError: the window is empty or `buckets` out of range.
        DiskError: the store cannot be read.
    """
    span_s = to_utc_s - from_utc_s
    if not (math.isfinite(span_s) and span_s >= 1 and 2 <= buckets <= BUCKETS_MAX):
        raise EntryError(
            f"There is no curve from {from_utc_s} to {to_utc_s} in {buckets} points.",
            f"Ask for at least one second in 2 to {BUCKETS_MAX} points.",
        )
    table, bucket_s = resolution(span_s / (buckets - 1))
    from_s = math.floor(from_utc_s / bucket_s) * bucket_s
    to_s = math.ceil(to_utc_s / bucket_s) * bucket_s
    found = dict(store.stretches(chamber, from_s, to_s, bucket_s, table))
    for tick in store.waiting_ticks(chamber):
        utc_s = round(tick.utc_s)
        if from_s <= utc_s < to_s:
            found.setdefault(utc_s - utc_s % bucket_s, Sums()).take(
                stored(tick.beer_c),
                stored(tick.garage_c),
                stored(tick.target_c),
                tick.heat,
                tick.fan,
            )
    points = tuple(sums.bucket(float(start_s)) for start_s, sums in sorted(found.items()))
    return Curve(chamber, from_utc_s, to_utc_s, float(bucket_s), points)


def resolution(wanted_s: float) -> tuple[str, int]:
    """The table to read and the length of a point, in whole seconds, not below `wanted_s`."""
    for table, step_s in reversed(TABLES):
        bucket_s = step_s * math.ceil(wanted_s / step_s)
        if bucket_s <= wanted_s * ROUNDING_MAX:
            return table, bucket_s
    return "ticks", math.ceil(wanted_s)
