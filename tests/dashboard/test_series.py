"""A window shows every excursion and every gap, in no more points than asked for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.errors import EntryError
from dashboard.series import BUCKETS_MAX, resolution, window
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S, tick

DAY_S = 86_400


@pytest.fixture
def store(tmp_path):
    opened = Store.open(tmp_path / "store.db")
    yield opened
    opened.close()


@pytest.mark.parametrize(
    ("span_s", "buckets", "expected"),
    [
        (600, 500, ("ticks", 2)),
        (DAY_S, 1000, ("minutes", 120)),
        (7 * DAY_S, 1000, ("minutes", 660)),
        (30 * DAY_S, 500, ("hours", 7200)),
        (30 * DAY_S, 1000, ("hours", 3600)),
        (365 * DAY_S, 1000, ("hours", 32_400)),
        (365 * DAY_S, 500, ("hours", 64_800)),
    ],
)
def test_the_coarsest_thinning_with_a_row_for_every_point_is_read(span_s, buckets, expected):
    assert resolution(span_s / (buckets - 1)) == expected


@given(st.floats(1, 40 * 365 * DAY_S), st.integers(2, BUCKETS_MAX), st.floats(0, 4e9))
def test_no_window_has_more_points_than_asked_or_reads_many_more_rows(span_s, buckets, start):
    table, bucket_s = resolution(span_s / (buckets - 1))
    first, last = start // bucket_s, -(-(start + span_s) // bucket_s)
    assert last - first <= buckets + 1
    if table != "ticks":
        step_s = {"minutes": 60, "tens": 600, "hours": 3600}[table]
        assert bucket_s % step_s == 0
        assert table == "hours" or bucket_s / step_s <= 14


@pytest.mark.parametrize("span_s", [3600, 3 * DAY_S, 30 * DAY_S, 365 * DAY_S])
def test_a_spike_of_one_tick_is_in_the_curve_of_any_span(store, span_s):
    at = START_UTC_S + span_s / 2
    quiet = [
        tick(seq, utc_s=START_UTC_S + seq * span_s / 400, beer_c=35.0) for seq in range(1, 400)
    ]
    store.add([*quiet, tick(400, utc_s=at, beer_c=41.5)], 1.0)
    store.commit()
    curve = window(store, "cellar", START_UTC_S, START_UTC_S + span_s, 200)
    assert max(point.beer_high_c for point in curve.buckets) == 41.5
    (spike,) = [p for p in curve.buckets if p.beer_high_c == 41.5]
    assert spike.start_utc_s <= at < spike.start_utc_s + curve.bucket_s
    assert spike.beer_low_c == 35.0 or curve.bucket_s < span_s / 400


def test_a_stretch_without_ticks_has_no_point_and_a_lost_probe_no_value(store):
    store.add([tick(seq) for seq in (*range(1, 100), *range(400, 500))], 1.0)
    store.add([tick(seq, beer_c=None) for seq in range(500, 600)], 1.0)
    store.commit()
    curve = window(store, "cellar", START_UTC_S, START_UTC_S + 3000, 101)
    starts = [point.start_utc_s - START_UTC_S for point in curve.buckets]
    assert not any(510 <= start < 1970 for start in starts)
    assert starts[0] == 0 and starts[-1] >= 2970
    lost = [p for p in curve.buckets if p.start_utc_s - START_UTC_S >= 2520]
    assert lost and all(p.beer_mean_c is p.beer_low_c is p.beer_high_c is None for p in lost)
    assert all(p.garage_mean_c is not None for p in lost)


def test_shares_and_means_are_those_of_the_ticks(store):
    store.add([tick(seq, heat=seq % 4 == 0, beer_c=30.0 + seq % 3) for seq in range(1, 121)], 1.0)
    store.commit()
    curve = window(store, "cellar", START_UTC_S + 60, START_UTC_S + 540, 9)
    assert curve.bucket_s == 60
    for point in curve.buckets:
        assert point.heat_share == pytest.approx(0.25)
        assert (point.fan_share, point.target_c) == (0.0, 35.0)
        assert (point.beer_low_c, point.beer_mean_c, point.beer_high_c) == (30.0, 31.0, 32.0)


def test_ticks_that_wait_for_the_commit_are_in_the_curve(store):
    lines = [tick(seq) for seq in range(1, 200)]
    store.add(lines[:150], 1.0)
    store.commit()
    store.add(lines[150:], 1.0)
    for buckets in (200, 5):
        before = window(store, "cellar", START_UTC_S, START_UTC_S + 1000, buckets)
        other = Store.open(store._database.path.with_name(f"{buckets}.db"))
        other.add(lines, 1.0)
        other.commit()
        assert window(other, "cellar", START_UTC_S, START_UTC_S + 1000, buckets) == before
        other.close()


@pytest.mark.parametrize(
    "asked", [(10.0, 10.0, 5), (10.0, float("inf"), 5), (0.0, 9.0, 1), (0.0, 9.0, 1001)]
)
def test_a_window_that_is_none_is_refused(store, asked):
    with pytest.raises(EntryError):
        window(store, "cellar", *asked)


def test_a_chamber_never_heard_of_has_an_empty_curve(store):
    assert window(store, "nowhere", 0.0, 100.0).buckets == ()
