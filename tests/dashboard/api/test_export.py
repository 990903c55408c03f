"""Everything that is kept comes out again, in forms that other programs read."""

from __future__ import annotations

import csv
import io
import json
import zipfile

import pytest

from controller.wire import Tick
from dashboard.api import export
from dashboard.api.operations import ROOT
from dashboard.facts import By, GravityReading, GravityUnit, Note, NoteKind
from tests.browser.states import BOOT, NOW_UTC_S
from tests.browser.states import event as event_of
from tests.dashboard.lines import tick

FORMULA = '=HYPERLINK("http://evil.example")'


@pytest.fixture
def tables(house, device):
    def read() -> dict[str, list[dict[str, str]]]:
        answer = device.get(f"{ROOT}/export.zip")
        assert answer.headers["content-disposition"].endswith('.zip"')
        with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
            assert archive.testzip() is None
            return {
                each.removesuffix(".csv"): list(
                    csv.DictReader(io.StringIO(archive.read(each).decode(), newline=""))
                )
                for each in archive.namelist()
            }

    return read


def test_every_row_of_the_store_is_in_both_and_they_agree(house, device, tables):
    house.store.add_note(Note(0, 1, NOW_UTC_S, NoteKind.TASTING, 'ripe, "hay"\nand, pear'))
    house.store.add([event_of("garage-left", "x", "raised", "a", 30, remedy="b")], NOW_UTC_S)
    house.store.commit()
    sheets = tables()
    (chamber,) = device.get(f"{ROOT}/export.json").json()["chambers"]
    (batch,) = chamber["batches"]
    assert [int(row["seq"]) for row in sheets["ticks"]] == [t["seq"] for t in chamber["ticks"]]
    assert [row["code"] for row in sheets["events"]] == [e["code"] for e in chamber["events"]]
    assert len(sheets["ticks"]) == len(house.store.ticks("garage-left", 0, 1e11))
    assert [float(row["entered"]) for row in sheets["gravities"]] == [
        reading.entered for reading in house.store.gravities(1)
    ]
    assert sheets["notes"][-1]["text"] == batch["notes"][-1]["text"] == 'ripe, "hay"\nand, pear'
    assert sheets["batches"][0]["name"] == batch["name"] == "Farmhouse pale"
    first = sheets["ticks"][0]
    assert float(first["beer_c"]) == chamber["ticks"][0]["beer_c"]
    assert first["utc"].endswith("Z") and first["utc"].startswith("2026-01-")


def test_pages_of_ticks_and_events_meet_without_a_gap_or_a_double(house, tables, monkeypatch):
    monkeypatch.setattr(export, "PAGE_TICKS", 25)
    monkeypatch.setattr(export, "EVENTS_MAX", 7)
    made = [tick(n, boot=boot, utc_s=NOW_UTC_S + n // 5) for n in range(1, 60) for boot in "ab"]
    told = [event_of("cellar", f"code{n}", "raised", "x", 4000 - n // 3 * 10) for n in range(40)]
    told = [each.__class__(**{f: getattr(each, f) for f in each.__dataclass_fields__} | {"seq": n})
            for n, each in enumerate(told, 1)]  # fmt: skip
    house.store.add([*made, *told], NOW_UTC_S)
    house.store.commit()
    sheets = tables()
    ticks = [
        (row["boot"], int(row["seq"])) for row in sheets["ticks"] if row["chamber"] == "cellar"
    ]
    assert len(ticks) == 118 and sorted(ticks) == sorted((t.boot, t.seq) for t in made)
    events = [row["code"] for row in sheets["events"] if row["chamber"] == "cellar"]
    assert events == [each.code for each in told]


def test_a_spreadsheet_is_given_nothing_to_compute(house, tables):
    reading = GravityReading(0, 1, NOW_UTC_S, 1.01, GravityUnit.SG, 20.0, 20.0, FORMULA)
    house.store.add_gravity(reading, By("somebody", NOW_UTC_S))
    assert tables()["gravities"][-1]["note"] == f"'{FORMULA}"


def test_ticks_keep_what_the_store_keeps(house):
    names = set(export.TICK_COLUMNS) | {"mono_s"}
    assert names == set(Tick.__dataclass_fields__) | {"utc"}
    assert BOOT


def test_an_empty_store_is_an_empty_export(tmp_path):
    from tests.dashboard.access.house import House

    house = House(tmp_path)
    assert json.loads(house.browser().get(f"{ROOT}/export.json").text) == {"chambers": []}
    house.close()
