"""Own yeasts and recipes in the open format: in, out, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from controller.beerjson import parse
from controller.errors import SettingsError
from dashboard.errors import EntryError
from dashboard.fermentation.course.forecast import forecast
from dashboard.fermentation.course.warmth import Warmth, clock_for
from dashboard.fermentation.exchange.cultures import OwnYeast, own_strain, read_cultures, written
from dashboard.fermentation.exchange.recipes import as_brewed, read_recipes
from dashboard.fermentation.strains import strain, strains

SCHEMA = Path(__file__).parents[3] / "controller" / "beerjson_schema.json"
VALIDATOR = jsonschema.Draft7Validator(json.loads(SCHEMA.read_text("utf-8")))


def recipe(**changes):
    fields = {
        "name": "Winter ale",
        "type": "all grain",
        "author": "someone",
        "batch_size": {"unit": "gal", "value": 5},
        "efficiency": {"brewhouse": {"unit": "%", "value": 72}},
        "original_gravity": {"unit": "plato", "value": 12.5},
        "final_gravity": {"unit": "sg", "value": 1.010},
        "ingredients": {
            "fermentable_additions": [],
            "hop_additions": [
                {
                    "name": "Early",
                    "amount": {"unit": "g", "value": 20},
                    "timing": {"use": "add_to_boil", "time": {"unit": "min", "value": 60}},
                },
                {
                    "name": "Late",
                    "amount": {"unit": "oz", "value": 4},
                    "timing": {
                        "use": "add_to_fermentation",
                        "specific_gravity": {"unit": "sg", "value": 1.022},
                        "duration": {"unit": "day", "value": 2},
                    },
                },
            ],
            "culture_additions": [
                {
                    "name": "Farm",
                    "type": "kveik",
                    "form": "dry",
                    "amount": {"unit": "pkg", "value": 1},
                    "attenuation": {"unit": "%", "value": 78},
                }
            ],
        },
        "fermentation": {
            "name": "Hot",
            "fermentation_steps": [
                {
                    "name": "Hold",
                    "start_temperature": {"unit": "F", "value": 95},
                    "step_time": {"unit": "day", "value": 5},
                }
            ],
        },
    }
    return {key: value for key, value in (fields | changes).items() if value is not None}


def document(*recipes, version=2.06):
    return json.dumps({"beerjson": {"version": version, "recipes": list(recipes)}})


@pytest.mark.parametrize("version", [2.06, 3.0])
def test_a_recipe_gives_what_a_batch_begins_with(version):
    (found,) = read_recipes(document(recipe(), version=version))
    assert found.name == "Winter ale" and found.culture == "Farm" and found.follows == "kveik"
    assert found.volume_l == pytest.approx(18.927, abs=1e-3)
    assert found.original_sg == pytest.approx(1.0505, abs=2e-4)
    assert found.final_sg == 1.010 and found.attenuation == pytest.approx(0.78)
    assert found.profile.steps[0].start_c == pytest.approx(35.0)
    (hops,) = found.hops
    assert hops.name == "Late" and hops.grams == pytest.approx(113.4, abs=0.1)
    assert (hops.at_sg, hops.contact_h, hops.after_h) == (1.022, 48.0, None)


def test_a_bare_recipe_is_no_error():
    bare = recipe(
        original_gravity=None,
        final_gravity=None,
        fermentation=None,
        ingredients={"fermentable_additions": []},
    )
    (found,) = read_recipes(document(bare))
    assert found.profile is None and found.original_sg is None and found.hops == ()


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"batch_size": {"unit": "bucket", "value": 2}}, "recipes[0].batch_size.unit"),
        ({"batch_size": 20}, "recipes[0].batch_size"),
        ({"name": ""}, "recipes[0].name"),
        ({"ingredients": []}, "recipes[0].ingredients"),
        ({"original_gravity": {"unit": "sg", "value": "heavy"}}, "recipes[0].original_gravity"),
    ],
)
def test_a_wrong_recipe_is_refused_with_its_place(change, place):
    with pytest.raises(EntryError) as refusal:
        read_recipes(document(recipe(**change)))
    assert place in refusal.value.what and refusal.value.remedy


def test_a_wrong_procedure_in_a_recipe_is_refused():
    with pytest.raises(SettingsError, match="fermentation_steps"):
        read_recipes(document(recipe(fermentation={"name": "x", "fermentation_steps": []})))


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"beerjson": 3}', '{"beerjson": {}}', "x" * 1_000_001]
)
def test_what_is_no_document_is_refused(text):
    for read in (read_recipes, read_cultures):
        with pytest.raises(EntryError):
            read(text)


def test_a_recipe_goes_out_with_what_became_of_it_and_otherwise_unchanged():
    text = document(recipe(), recipe(name="Other"))
    profile = strain("kveik").procedure
    out = as_brewed(text, "Winter ale", 1.0523, 1.0094, profile)
    before, after = (json.loads(each)["beerjson"]["recipes"] for each in (text, out))
    assert after[1] == before[1]
    assert after[0]["original_gravity"] == {"unit": "sg", "value": 1.0523}
    assert after[0]["ingredients"] == before[0]["ingredients"]
    (again, _) = read_recipes(out)
    assert again.final_sg == 1.0094 and again.profile == profile
    with pytest.raises(EntryError, match="0 recipes"):
        as_brewed(text, "None such", 1.05, None, None)


@pytest.mark.parametrize("kind", strains(), ids=lambda kind: kind.slug)
def test_every_strain_goes_out_by_the_schema_and_comes_back(kind):
    text = written(kind)
    VALIDATOR.validate(json.loads(text))
    (found,) = read_cultures(text)
    back = own_strain("own", found)
    assert (back.name, back.low_c, back.high_c) == (kind.name, kind.low_c, kind.high_c)
    assert back.attenuation_low == pytest.approx(kind.attenuation_low)
    assert back.procedure == kind.procedure == parse(text)[0]
    assert back.keeps_falling == kind.keeps_falling


def test_an_own_yeast_follows_its_kind_in_what_is_not_known():
    own = own_strain(
        "farm", OwnYeast("Farm", "kveik", low_c=28.0, high_c=43.0, attenuation_low=0.75)
    )
    kveik = strain("kveik")
    assert own.category == "kveik" and own.procedure == kveik.procedure
    assert (own.low_c, own.high_c, own.expected.ceiling_c) == (28.0, 43.0, 43.0)
    assert own.attenuation_low == 0.75 and own.attenuation_high == pytest.approx(0.90)
    said = forecast(own, 1.050, [], clock_for(own, Warmth(((0.0, 35.0),), 0.0)), 0.0)
    assert said.two_thirds.middle_h > 0.0


@pytest.mark.parametrize(
    "change",
    [
        {"low_c": 40.0, "high_c": 30.0},
        {"low_c": -30.0},
        {"high_c": 60.0},
        {"attenuation_low": 0.9, "attenuation_high": 0.8},
        {"attenuation_high": 1.5},
        {"follows": "wine"},
    ],
)
def test_a_yeast_that_cannot_be_is_refused(change):
    with pytest.raises(EntryError):
        own_strain("x", OwnYeast(**({"name": "X", "follows": "kveik"} | change)))


def test_cultures_of_other_programs_are_read():
    body = {
        "version": 3.0,
        "cultures": [
            {"name": "Cool", "type": "lager", "form": "liquid"},
            {
                "name": "White",
                "type": "wheat",
                "form": "dry",
                "temperature_range": {
                    "minimum": {"unit": "F", "value": 64.4},
                    "maximum": {"unit": "F", "value": 75.2},
                },
            },
        ],
    }
    cool, white = read_cultures(json.dumps({"beerjson": body}))
    assert own_strain("a", cool).category == "lager"
    found = own_strain("b", white)
    assert found.category == "wheat-ale" and (found.low_c, found.high_c) == pytest.approx(
        (18.0, 24.0)
    )
    body["cultures"][0]["type"] = "bread"
    with pytest.raises(EntryError, match=r"cultures\[0\].type"):
        read_cultures(json.dumps({"beerjson": body}))
