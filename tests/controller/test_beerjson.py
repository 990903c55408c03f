"""BeerJSON procedures: what is read, what is refused with which words, and what is written.

The table of valid and invalid cases was found by running the open schema (github
beerjson/beerjson, main at 7b97943, draft-07); the rows on fermentation are typed in here with what
it said. The schema in `beerjson_schema.json` is our own writing, from the standard's field tables.
"""

from __future__ import annotations

import copy
import importlib.resources
import json
import math
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller import beerjson, procedure
from controller.beerjson import load_profile, parse, to_beerjson
from controller.decision.profile import Profile, Step
from controller.errors import DiskError, SettingsError
from dashboard.fermentation import gravity

VALIDATOR = jsonschema.Draft7Validator(
    json.loads(Path(__file__).with_name("beerjson_schema.json").read_text("utf-8"))
)
SCHEMA = "open schema run on the case, github beerjson/beerjson main at 7b97943"
OURS = "our own rule, stricter than the schema"


def celsius(value):
    return {"unit": "C", "value": value}


def hours(value):
    return {"unit": "hr", "value": value}


def hold(**changes):
    """A sound step, changed; a value of None takes the key away."""
    step = {"name": "hold", "start_temperature": celsius(34), "step_time": hours(48)} | changes
    return {key: value for key, value in step.items() if value is not None}


def document(*steps, version=2.06, **others):
    found = {"name": "kveik", "fermentation_steps": list(steps)} | others
    return {"beerjson": {"version": version, "fermentations": [found]}}


def read(*steps, **others):
    (profile,) = parse(json.dumps(document(*steps, **others)))
    return profile


def refused(tree):
    with pytest.raises(SettingsError) as refusal:
        parse(tree if isinstance(tree, str) else json.dumps(tree))
    assert refusal.value.remedy
    return refusal.value.what


def measure(unit, value):
    return {"unit": unit, "value": value}


VALID = [
    (hold(step_time=hours(48.0)), "48.0 counts as an integer; " + SCHEMA),
    (hold(end_gravity=measure("brix", 3.0)), SCHEMA),
    (hold(vessel_pressure=measure("psi", 12)), SCHEMA),
    (hold(start_ph=measure("pH", 5.2), end_ph=measure("pH", 4.3), vessel="keg"), SCHEMA),
    (hold(start_gravity=measure("sg", 1.05), free_rise=False, description="x"), SCHEMA),
]

INVALID = [
    (hold(step_time=hours(1.5)), 'step_time.value: 1.5; must be a whole number, so write {"unit":'),
    (hold(name=None), "name: missing"),
    (hold(step_time=measure("month", 1)), 'step_time.unit: "month"; must be sec or min or hr or'),
    (hold(end_gravity=measure("SG", 1.01)), 'end_gravity.unit: "SG"; must be sg or plato or brix'),
    (hold(vessel_pressure=measure("mbar", 800)), 'vessel_pressure.unit: "mbar"; must be kPa'),
    (hold(free_rise="true"), 'free_rise: "true"; must be true or false'),
    (hold(end_gravity=1.01), "end_gravity: 1.01; must be an object"),
    (hold(temperature=celsius(34)), "temperature: unknown; may be name"),
    (hold(start_temperature={"unit": "C"}), "start_temperature.value: missing; must be a number"),
    (hold(start_temperature=measure("C", "34")), 'start_temperature.value: "34"; must be a number'),
    (hold(start_temperature=measure("C", True)), "start_temperature.value: true; must be a number"),
    (hold(start_temperature={**celsius(34), "x": 1}), "start_temperature.x: unknown"),
    (hold(vessel=7), "vessel: 7; must be a text"),
    ("no step", ': "no step"; must be an object'),
]


@pytest.mark.parametrize(("step", "source"), VALID)
def test_what_the_schema_allows_is_read(step, source):
    assert read(step).steps[0].start_c == 34.0, source


@pytest.mark.parametrize(("step", "words"), INVALID)
def test_what_the_schema_forbids_is_refused_at_its_place(step, words):
    what = refused(document(step))
    assert "$.beerjson.fermentations[0].fermentation_steps[0]" in what
    assert words in what
    assert what.startswith("The BeerJSON document has 1 problem:")


@pytest.mark.parametrize(
    ("tree", "words"),
    [
        ({"beerjson": {"fermentations": []}}, "version: missing"),
        ({"beerjson": {"version": "2.06"}}, 'version: "2.06"; must be a number'),
        ({"beerjson": {"version": 5}}, "version: 5; must be a number, 2.06 or 3"),
        ({"beerjson": {"version": 10**400}}, "version: "),
        ({"beerjson": {"version": 2.06}}, "no fermentation procedure"),
        ({"beerjson": {"version": 2.06, "recipes": [{"name": "x"}]}}, "no fermentation procedure"),
        ({"beerjson": {"version": 2.06, "recipes": [7]}}, "recipes[0]: 7; must be an object"),
        ({"beerjson": {"version": 2.06, "fermentations": {}}}, "fermentations: {}; must be a list"),
        ({"beerjson": {"version": 2.06}, "extra": 1}, "nothing beside it"),
        ({"beerjson": []}, "$: must be"),
        ([], "$: must be"),
        (document(), "0 steps; must be 1 to 50"),
        (document(*[hold()] * 51), "51 steps; must be 1 to 50"),
        (document(hold(), fermentation_steps="x"), 'fermentation_steps: "x"; must be a list'),
        (document(hold(), type="ale"), "type: unknown; may be name, description, notes"),
        (document(hold(), name=" "), 'name: " "; must be a text of 1 to 80'),
        (document(hold(), name="x" * 81), "must be a text of 1 to 80"),
        ({"beerjson": {"version": 2, "fermentations": [{"name": "x"}]}}, "steps: missing"),
        ({"beerjson": {"version": 2, "fermentations": [{}] * 101}}, "101 procedures"),
    ],
)
def test_a_document_of_the_wrong_shape_is_refused(tree, words):
    assert words in refused(tree)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not proper JSON: Expecting value at line 1, column 1"),
        ('{"beerjson": ', "line 1, column"),
        ('{"beerjson": {"version": NaN}}', "NaN is not a number in JSON"),
        ('{"beerjson": {"version": 2.06, "version": 3}}', 'the key "version" is given twice'),
        ("[" * 100_000, "nested too deeply"),
        ("9" * 10_000, "not proper JSON"),
        ('"' + "é" * 600_000 + '"', "larger than 1,000,000 bytes"),
    ],
)
def test_what_is_no_json_is_refused_with_its_place(text, words):
    assert words in refused(text)


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (hold(start_temperature=celsius(95)), "looks like Fahrenheit: 95 °F is 35.0 °C"),
        (hold(start_temperature=celsius(400)), "400 C; must be -2 to 45 °C"),
        (hold(start_temperature=celsius(-5)), "-5 C; must be -2 to 45 °C"),
        (hold(start_temperature=measure("F", 20)), "looks like Celsius: for 20 °C"),
        (hold(start_temperature=measure("F", 180)), "180 F; must be -2 to 45 °C"),
        (hold(step_time=measure("day", -5)), "-5 day; must be 1 sec to 366 day"),
        (hold(step_time=hours(0)), "0 hr; must be 1 sec"),
        (hold(step_time=measure("week", 60)), "60 week; must be"),
        (hold(end_gravity=measure("sg", 1010)), "looks like 1.01"),
        (hold(end_gravity=measure("sg", 3)), 'for 3 °P write unit "plato"'),
        (hold(end_gravity=measure("plato", 50)), "50 plato; must be -5.2 to 38.2"),
        (hold(start_temperature=None), "start_temperature: missing; the first step needs one"),
        (hold(end_temperature=celsius(36), step_time=None), "a ramp from 34 to 36 °C without a"),
        (hold(free_rise=True), "a free rise from 34 to 34 °C; give an end_temperature above"),
        (hold(free_rise=True, end_temperature=celsius(30)), "a free rise from 34 to 30 °C"),
    ],
)
def test_what_no_chamber_can_do_is_refused_though_the_schema_allows_it(step, words):
    what = refused(document(step))
    assert words in what, OURS
    assert what.count("\n") == 1, what


def test_a_step_that_never_ends_must_be_the_last():
    endless = hold(step_time=None)
    assert read(hold(), endless).steps[1].hold_s is None
    assert "it never ends" in refused(document(endless, hold()))


def test_a_later_step_cannot_end_at_a_higher_gravity():
    ends = [hold(end_gravity=measure("sg", value)) for value in (1.020, 1.030)]
    assert "above SG 1.02, where an earlier step ends" in refused(document(*ends))
    assert len(read(*reversed(ends)).steps) == 2


def test_every_problem_is_listed_at_once_with_its_own_path():
    what = refused(
        document(
            hold(start_temperature=celsius(95)),
            hold(step_time=hours(1.5)),
            hold(name=None, colour=3),
            version="2",
        )
    )
    steps = "$.beerjson.fermentations[0].fermentation_steps"
    for place in ("version", *(f"{steps}[{n}]" for n in (0, 1, 2)), f"{steps}[2].colour"):
        assert place.removeprefix("$.") in what
    assert "5 problems:" in what


def test_a_hopeless_document_lists_thirty_problems_and_counts_the_rest():
    what = refused(document(*[hold(colour=1)] * 50))
    assert what.startswith("The BeerJSON document has 50 problems:")
    assert what.count("unknown") == 30
    assert what.endswith("and 20 more.")


def test_a_step_without_a_temperature_keeps_the_one_before():
    profile = read(
        hold(end_temperature=celsius(36)),
        hold(start_temperature=None),
        hold(start_temperature=None),
    )
    assert [(step.start_c, step.end_c) for step in profile.steps] == [(34, 36), (36, 36), (36, 36)]


def test_a_step_with_only_an_end_ramps_from_the_one_before():
    profile = read(hold(), hold(start_temperature=None, end_temperature=celsius(30)))
    assert (profile.steps[1].start_c, profile.steps[1].end_c) == (34, 30)
    assert read(hold(start_temperature=None, end_temperature=celsius(30))).steps[0].start_c == 30


def test_units_are_changed_to_ours():
    step = read(
        hold(
            start_temperature=measure("F", 95),
            step_time=measure("week", 2),
            end_gravity=measure("plato", 2.5),
        )
    ).steps[0]
    assert step.start_c == pytest.approx(35.0)
    assert step.hold_s == 14 * 86_400
    assert step.end_sg == pytest.approx(1.00976, abs=2e-5)


@given(st.floats(procedure.PLATO_MIN, procedure.PLATO_MAX))
def test_plato_means_the_same_here_and_in_the_dashboard(plato):
    assert procedure.sg_from_plato(plato) == pytest.approx(gravity.sg_from_plato(plato), abs=1e-12)


def test_both_programs_keep_the_same_limits():
    assert (procedure.SG_MIN, procedure.SG_MAX) == (gravity.SG_MIN, gravity.SG_MAX)
    assert procedure.PLATO_OF_SG == gravity.PLATO_OF_SG


def test_recipes_are_read_too_after_the_loose_procedures():
    tree = document(hold())
    inner = {"name": "in a recipe", "fermentation_steps": [hold()]}
    tree["beerjson"]["recipes"] = [{"name": "r", "fermentation": inner}, {"name": "without"}]
    assert [profile.name for profile in parse(json.dumps(tree))] == ["kveik", "in a recipe"]


@pytest.mark.parametrize("version", [1, 2.01, 2.06, 3, 3.0])
def test_the_versions_in_use_are_read(version):
    assert read(hold(), version=version).name == "kveik"


names = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=80)
temperatures = st.integers(-20, 450).map(lambda tenths: tenths / 10.0)


@st.composite
def profiles(draw):
    """Sound profiles: falling end gravities, ramps with a duration, only the last without an
    end.
    """
    count = draw(st.integers(1, 6))
    ends = sorted(draw(st.lists(st.floats(0.98, 1.17), min_size=count, max_size=count)))[::-1]
    steps = []
    for index in range(count):
        start_c, end_c = draw(temperatures), draw(temperatures)
        is_free = draw(st.booleans()) and start_c < end_c
        is_timed = draw(st.booleans()) or start_c != end_c
        has_end = draw(st.booleans()) or (not is_timed and index < count - 1)
        hold_s = float(draw(st.integers(1, procedure.STEP_S_MAX))) if is_timed else None
        end_sg = ends[index] if has_end else None
        steps.append(Step(draw(names), start_c, end_c, hold_s, end_sg, is_free))
    return Profile(draw(names), tuple(steps))


@given(profiles())
@settings(max_examples=150)
def test_a_profile_written_and_read_again_is_the_same(profile):
    text = to_beerjson(profile)
    VALIDATOR.validate(json.loads(text))
    assert parse(text) == (profile,)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False) | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@given(st.data())
@settings(max_examples=300)
def test_one_value_spoilt_is_read_or_refused_and_never_breaks(data):
    tree = document(hold(end_gravity=measure("sg", 1.01)), hold(free_rise=False, vessel="x"))
    place = tree["beerjson"]
    for _ in range(data.draw(st.integers(0, 5))):
        key = data.draw(st.sampled_from(sorted(place) if isinstance(place, dict) else [0]))
        if not place[key] or not isinstance(place[key], dict | list):
            break
        place = place[key]
    key = data.draw(st.sampled_from(sorted(place) if isinstance(place, dict) else [0]))
    place[key] = data.draw(json_values)
    try:
        profile, *_ = parse(json.dumps(tree))
    except SettingsError:
        return
    for step in profile.steps:
        assert all(math.isfinite(value) for value in (step.start_c, step.end_c))
        assert -2.0 <= min(step.start_c, step.end_c) <= max(step.start_c, step.end_c) <= 45.0


def test_broken_seconds_are_written_whole():
    profile = Profile("x", (Step("y", 20.0, 20.0, 5400.4),))
    assert json.loads(to_beerjson(profile))["beerjson"]["fermentations"][0]["fermentation_steps"][
        0
    ]["step_time"] == measure("min", 90)


def test_a_file_is_chosen_from_by_name(tmp_path):
    path = tmp_path / "two.json"
    tree = document(hold())
    second = copy.deepcopy(tree["beerjson"]["fermentations"][0]) | {"name": "other"}
    tree["beerjson"]["fermentations"].append(second)
    path.write_text("\ufeff" + json.dumps(tree), encoding="utf-8")
    assert load_profile(path, "other").name == "other"
    for name, words in ((None, "several procedures"), ("third", "0 procedures called 'third'")):
        with pytest.raises(SettingsError) as refusal:
            load_profile(path, name)
        assert words in refusal.value.what and "'kveik', 'other'" in refusal.value.what


def test_a_file_that_cannot_be_read_is_named(tmp_path):
    with pytest.raises(DiskError) as refusal:
        load_profile(tmp_path / "absent.json")
    assert "absent.json" in refusal.value.what
    latin = tmp_path / "latin.json"
    latin.write_bytes('{"x": "°"}'.encode("latin-1"))
    with pytest.raises(SettingsError) as wrong:
        load_profile(latin)
    assert "UTF-8" in wrong.value.remedy
    large = tmp_path / "large.json"
    large.write_bytes(b" " * (beerjson.BYTES_MAX + 1))
    with pytest.raises(SettingsError) as too_large:
        load_profile(large)
    assert "larger than" in too_large.value.what


def test_the_shipped_profile_is_sound_and_never_asks_for_less_than_33_degrees():
    with importlib.resources.as_file(
        importlib.resources.files("controller") / "profiles" / "hot-kveik.json"
    ) as path:
        profile = load_profile(path)
        VALIDATOR.validate(json.loads(path.read_text("utf-8")))
    assert all(33.0 <= min(step.start_c, step.end_c) <= 38.0 for step in profile.steps)
    assert any(step.free_rise for step in profile.steps)
    assert all(step.end_c >= step.start_c for step in profile.steps), "nothing cools by the clock"
    assert profile.steps[-1].hold_s is None


@pytest.mark.parametrize(("step", "words"), INVALID)
def test_the_schema_of_our_own_writing_refuses_the_same_steps(step, words):
    assert not VALIDATOR.is_valid(document(step)), words


@pytest.mark.parametrize(("step", "source"), VALID)
def test_the_schema_of_our_own_writing_allows_the_same_steps(step, source):
    assert VALIDATOR.is_valid(document(step)), source
