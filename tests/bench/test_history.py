"""What history costs: bytes a row, bytes written a day, and the time to open a window.

Run with `-m bench -s`; numbers are printed. Sizes are asserted, times are not.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.keeping import database
from dashboard.series import window
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S, tick

pytestmark = pytest.mark.bench
DAY_TICKS = 17_280
YEAR_TICKS = 365 * DAY_TICKS
SPANS = {"an hour": 1 / 24, "a day": 1, "a week": 7, "a month": 30, "a year": 365}


@pytest.fixture(autouse=True)
def only_when_asked(request):
    if "bench" not in request.config.option.markexpr:
        pytest.skip("a measurement; run with -m bench -s")


def line(seq: int):
    """A tick of a sensor of 1/16 K with noise, every five seconds."""
    return tick(
        seq,
        beer_c=35 + seq * 7919 % 5 / 16,
        garage_c=4 + seq // 700 % 9 / 16,
        demand=seq % 100 / 150,
    )


def written_bytes() -> int:
    text = Path("/proc/self/io").read_text()
    return int(dict(row.split(": ") for row in text.splitlines())["write_bytes"])


@pytest.mark.parametrize("page_bytes", [1024, 2048, 4096])
def test_a_day_of_ticks_committed_once_a_minute(tmp_path, monkeypatch, page_bytes):
    monkeypatch.setattr(database, "PAGE_BYTES", page_bytes)
    store = Store.open(tmp_path / "store.db")
    before = written_bytes()
    for seq in range(1, DAY_TICKS + 1):
        store.add([line(seq)], 1.0)
        if seq % 12 == 0:
            store.commit()
    day_mb = (written_bytes() - before) / 1e6
    with store._database.reading() as connection:
        sql = "SELECT sum(pgsize) FROM dbstat WHERE name = 'ticks'"
        (ticks_bytes,) = connection.execute(sql).fetchone()
    store.close()
    row_bytes = ticks_bytes / DAY_TICKS
    print(f"\npages of {page_bytes}: {day_mb:.1f} MB written a day, {row_bytes:.1f} bytes a tick")
    if page_bytes == 1024:
        assert row_bytes < 33


def test_a_year_opens_any_window(tmp_path):
    store = Store.open(tmp_path / "store.db")
    base, began_s = line(1), time.perf_counter()
    for start in range(1, YEAR_TICKS, 20_000):
        store.add(
            [
                replace(base, seq=seq, utc_s=START_UTC_S + 5 * seq, heat=seq % 4 == 0)
                for seq in range(start, min(start + 20_000, YEAR_TICKS + 1))
            ],
            1.0,
        )
        store.commit()
    took_s = time.perf_counter() - began_s
    print(f"\n{YEAR_TICKS / took_s:,.0f} ticks a second taken in and committed")
    now = START_UTC_S + 5 * YEAR_TICKS
    for name, days in SPANS.items():
        times = []
        for _ in range(5):
            began_s = time.perf_counter()
            curve = window(store, "cellar", now - days * 86_400, now, 1000)
            times.append((time.perf_counter() - began_s) * 1000)
        print(f"{name}: {len(curve.buckets)} points in {min(times):.1f} ms")
    store.close()
