"""The demo's brewer types what a person would, and the dashboard's own correction undoes it."""

from __future__ import annotations

import itertools
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.demo.brewer import READING_HOURS, Brewer, Recipe, typed
from dashboard.facts import Batch, GravityUnit
from dashboard.fermentation.gravity import corrected_sg, plato_from_sg
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S

BATCH = Batch(1, "demo", "Winter one", START_UTC_S, 1.0505, 1.011, 20.0, "kveik")


@given(st.floats(1.005, 1.060), st.floats(5, 42))
def test_what_was_typed_is_the_truth_again_when_corrected_to_half_a_division(true_sg, beer_c):
    reading = typed(BATCH, START_UTC_S, true_sg, beer_c)
    back = corrected_sg(reading.entered, reading.sample_c, reading.calibrated_c, BATCH.original_sg)
    assert back == pytest.approx(true_sg, abs=0.00026)
    assert round(reading.entered / 0.0005, 6) % 1 == 0
    assert (reading.sample_c * 2) % 1 == 0 and abs(reading.sample_c - beer_c) <= 0.25


def test_a_hot_sample_shows_four_to_six_points_too_low():
    reading = typed(BATCH, START_UTC_S, 1.030, 35.0)
    assert 1.024 <= reading.entered <= 1.026 and reading.unit is GravityUnit.SG


def test_the_batch_begins_with_the_first_line_and_readings_come_with_their_hours(tmp_path):
    store = Store.open(tmp_path / "s.db")
    truth = tmp_path / "truth.jsonl"
    brewer = Brewer(store, "demo", Recipe(), truth)
    brewer.look()
    assert store.chambers() == ()
    with truth.open("w") as file:
        for hour in range(40):
            facts = {
                "utc_s": START_UTC_S + hour * 3600,
                "apparent_plato": plato_from_sg(1.050 - hour * 0.001),
                "beer_c": 34.2,
            }
            line = json.dumps(facts) + "\n"
            file.write(line[:20])
            file.flush()
            brewer.look()
            file.write(line[20:])
            file.flush()
            brewer.look()
    batch = store.current_batch("demo")
    assert (batch.name, batch.pitched_utc_s) == ("Winter one", START_UTC_S)
    readings = store.gravities(batch.id)
    hours = [(each.taken_utc_s - START_UTC_S) / 3600 for each in readings]
    assert hours == [hour for hour in READING_HOURS if hour < 40]
    assert [each.sample_c for each in readings] == [34.0] * len(readings)
    assert all(a.entered > b.entered for a, b in itertools.pairwise(readings))
    store.close()
