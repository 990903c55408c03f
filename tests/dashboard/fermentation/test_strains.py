"""The nine kinds of yeast: each document is right, and every range is in order."""

from __future__ import annotations

import json
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import jsonschema
import pytest

from dashboard.errors import EntryError
from dashboard.fermentation.attenuation import expected_final_sg
from dashboard.fermentation.strains import EXPECTED, strain, strains

FOLDER = files("dashboard") / "strains"
SCHEMA = Path(__file__).parents[2] / "controller" / "beerjson_schema.json"
VALIDATOR = jsonschema.Draft7Validator(json.loads(SCHEMA.read_text("utf-8")))

every_strain = pytest.mark.parametrize("kind", strains(), ids=lambda kind: kind.slug)


def test_there_are_nine_and_each_document_is_in_the_table():
    found = {entry.name.removesuffix(".json") for entry in FOLDER.iterdir()}
    assert found == set(EXPECTED)
    assert [kind.slug for kind in strains()] == list(EXPECTED)
    assert len(found) == 9


@every_strain
def test_the_document_keeps_to_the_open_format(kind):
    VALIDATOR.validate(json.loads((FOLDER / f"{kind.slug}.json").read_text("utf-8")))


@every_strain
def test_every_range_is_in_order(kind):
    expected = kind.expected
    temperatures = [expected.floor_c, kind.low_c, expected.usual_c, kind.high_c, expected.ceiling_c]
    assert temperatures == sorted(set(temperatures))
    assert 0.5 < kind.attenuation_low < kind.attenuation_usual < kind.attenuation_high < 1.0
    assert 0.0 < expected.days_low < expected.days_high


@every_strain
def test_the_procedure_starts_in_the_working_range_and_never_leaves_the_limits(kind):
    steps = kind.procedure.steps
    assert kind.low_c <= steps[0].start_c <= kind.high_c
    for step in steps:
        ends = (step.start_c, step.end_c)
        assert kind.expected.floor_c < min(ends) <= max(ends) < kind.expected.ceiling_c


@every_strain
def test_no_procedure_cools_by_the_clock_and_the_last_step_holds_for_good(kind):
    steps = kind.procedure.steps
    for step in steps:
        assert step.end_c >= step.start_c
    for before, after in pairwise(steps):
        assert after.start_c in (before.start_c, before.end_c)
    assert steps[-1].hold_s is None and steps[-1].end_sg is None


@every_strain
def test_every_note_says_where_its_figures_come_from(kind):
    assert "no source" in kind.notes or "20" in kind.notes
    raw = json.loads((FOLDER / f"{kind.slug}.json").read_text("utf-8"))["beerjson"]
    assert "no source" in raw["fermentations"][0]["notes"]
    assert "producer" not in raw["cultures"][0] and "product_id" not in raw["cultures"][0]


@every_strain
def test_an_ordinary_wort_has_a_sensible_expected_end(kind):
    assert 0.998 < expected_final_sg(1.050, kind.attenuation_usual) < 1.020


def test_kveik_is_held_hot():
    kveik = strain("kveik")
    assert all(step.start_c > 32.0 and step.end_c > 32.0 for step in kveik.procedure.steps)
    assert kveik.expected.usual_c == 35.0 and not kveik.keeps_falling


def test_those_that_creep_are_marked():
    assert {kind.slug for kind in strains() if kind.keeps_falling} == {"saison", "mixed"}


def test_an_unknown_strain_is_refused_with_those_there_are():
    with pytest.raises(EntryError) as refusal:
        strain("kviek")
    assert "'kviek'" in refusal.value.what and "kveik, clean-ale" in refusal.value.remedy
