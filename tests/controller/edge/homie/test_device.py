"""The device as the Homie 5 convention has it; its rules are named beside each check."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.decision.vocabulary import Moment
from controller.edge.homie.device import (
    ALERTS,
    EMPTY,
    NODES,
    PROPERTIES,
    Fitted,
    alerts,
    description,
    target_asked,
    values,
)
from tests.controller.edge.lines import tick

WHOLE = Fitted("garage-left", ("beer", "garage", "air", "pad"), True, 41.0, True)
BARE = Fitted("garage-left", ("beer",), False, 41.0, False)
TICK = replace(
    tick("b1", 1, Moment(5.0, 1.8e9)),
    beer_c=34.987, garage_c=-3.25, target_c=35.0, batch="Winter one", step_name="hold",
    phase="holding", heat=True, demand=0.4,
)  # fmt: skip
# Source: Homie convention 5.0, topic ids; float payloads; datatypes.
ID = re.compile(r"[a-z0-9-]+")
FLOAT = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?")
DATATYPES = {
    "integer",
    "float",
    "boolean",
    "string",
    "enum",
    "color",
    "datetime",
    "duration",
    "json",
}


@pytest.mark.parametrize("fitted", [WHOLE, BARE])
def test_the_description_is_whole_and_legal(fitted):
    said = json.loads(description(fitted))
    # Source: Homie convention 5.0, device: `homie` and a whole-numbered `version` are required.
    assert said["homie"].startswith("5.") and isinstance(said["version"], int)
    for node_id, node in said["nodes"].items():
        assert ID.fullmatch(node_id) and node["name"]
        for each_id, each in node["properties"].items():
            assert ID.fullmatch(each_id) and each["datatype"] in DATATYPES
            if each["datatype"] == "enum":  # its format is required, without doubles
                words = each["format"].split(",")
                assert len(words) == len(set(words)) > 1
            if each["datatype"] in ("float", "integer") and "format" in each:
                assert re.fullmatch(r"-?[\d.]*:-?[\d.]*(:[\d.]+)?", each["format"])


def test_what_is_not_fitted_is_not_there():
    whole, bare = (json.loads(description(each))["nodes"] for each in (WHOLE, BARE))
    assert {"air", "pad", "garage", "fan"} <= set(whole["chamber"]["properties"])
    assert not {"air", "pad", "garage", "fan"} & set(bare["chamber"]["properties"])


def test_only_the_target_is_ever_settable_and_only_when_allowed():
    settable = [
        (node, each)
        for node, said in json.loads(description(WHOLE))["nodes"].items()
        for each, about in said["properties"].items()
        if about.get("settable")
    ]
    assert settable == [("beer", "target")]
    assert "settable" not in description(BARE)
    target = json.loads(description(WHOLE))["nodes"]["beer"]["properties"]["target"]
    assert target["format"] == "-2:41:0.1" and target["unit"] == "°C"


def test_the_version_changes_with_what_is_described():
    assert json.loads(description(WHOLE))["version"] == json.loads(description(WHOLE))["version"]
    versions = {json.loads(description(each))["version"] for each in (WHOLE, BARE)}
    assert len(versions) == 2


def test_values_are_in_the_conventions_own_writing():
    found = values(WHOLE, TICK)
    assert found["beer/temperature"] == "34.99" and found["chamber/garage"] == "-3.25"
    assert (found["chamber/heat"], found["chamber/fan"]) == ("true", "false")
    assert (found["beer/phase"], found["beer/batch"]) == ("holding", "Winter one")
    said = json.loads(description(WHOLE))["nodes"]
    for name, text in found.items():
        node, _, each = name.partition("/")
        if said[node]["properties"][each]["datatype"] == "float":
            assert FLOAT.fullmatch(text), name


def test_what_is_not_known_is_no_value_and_an_alert_says_why():
    """Source: Homie convention 5.0, payloads: NaN is no float."""
    blind = replace(TICK, beer_c=None, target_c=None, batch=None, faults={"beer": "no answer"})
    found = values(WHOLE, blind)
    assert "beer/temperature" not in found and "beer/target" not in found
    assert found["beer/batch"] == EMPTY
    assert alerts(blind, {}) == {"probe-beer": "The beer probe cannot be trusted: no answer."}


def test_alerts_say_what_the_events_said():
    stands = replace(TICK, alarms=("beer-probe-lost",), trips=("beer-too-hot",))
    found = alerts(stands, {"beer-too-hot": "The beer was too hot. Let it cool."})
    assert found == {
        "beer-probe-lost": "beer probe lost",
        "beer-too-hot": "The beer was too hot. Let it cool.",
    }
    assert all(ID.fullmatch(code) for code in ALERTS)


def test_every_property_has_its_node_and_none_is_there_twice():
    names = [(each.node, each.id) for each in PROPERTIES]
    assert len(names) == len(set(names)) and {node for node, _ in names} == set(NODES)


@pytest.mark.parametrize(
    ("payload", "value"),
    [(b"32", 32.0), (b"32.5", 32.5), (b"3.2e1", 32.0), (b"-2", -2.0), (b"41", 41.0),
     (b"41.1", None), (b"-2.1", None), (b"", None), (b"nan", None), (b"inf", None),
     (b"Infinity", None), (b"0x20", None), (b"3_2", None), (b" 32", None), (b"32,5", None),
     (b"\xff\xfe", None), (b"1" * 5000, None), (b"1e999", None), (b"--3", None)],
)  # fmt: skip
def test_a_target_is_a_float_of_the_convention_within_the_limits(payload, value):
    assert target_asked(payload, WHOLE) == value


@given(st.binary(max_size=60))
def test_no_payload_asks_for_more_than_the_limit(payload):
    asked = target_asked(payload, WHOLE)
    assert asked is None or -2.0 <= asked <= 41.0
