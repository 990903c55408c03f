"""What the interface's objects look like, by name: plain JSON Schema, shown in its document.

Ticks and events are the published language's own, so their shapes are made from its dataclasses.
Units end the names, as everywhere: times are seconds of Unix time, temperatures °C, shares 0 to 1.
"""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

from controller.wire import CHAMBER_NAME, Event, PresenceState, Tick
from dashboard.api import problems
from dashboard.facts import GravityUnit, NoteKind
from dashboard.measured import MEASURED, UTC_S_MAX

Shape = dict[str, Any]

ID_MAX = 2**53  # Why: the greatest whole number every JSON reader takes exactly (RFC 8259, 6).
NOTE_CHARACTERS_MAX = 2000  # Why: as the store has it.
ONE_LINE = r"^[^\u0000-\u001f\u007f]*$"

NUMBER: Shape = {"type": "number"}
NUMBER_OR_NONE: Shape = {"type": ["number", "null"]}
TEXT: Shape = {"type": "string"}
TRUTH: Shape = {"type": "boolean"}
MOMENT: Shape = {"type": "number", "minimum": 0, "maximum": UTC_S_MAX}
ID: Shape = {"type": "integer", "minimum": 1, "maximum": ID_MAX}
CHAMBER: Shape = {
    "type": "string", "pattern": f"^{CHAMBER_NAME.pattern}$", "maxLength": 32, "minLength": 1,
}  # fmt: skip
_OF_TYPE: dict[str, Shape] = {
    "str": TEXT,
    "str | None": TEXT,
    "int": {"type": "integer"},
    "int | None": {"type": "integer"},
    "float": NUMBER,
    "float | None": NUMBER,
    "bool": TRUTH,
    "tuple[str, ...]": {"type": "array", "items": TEXT},
    "Mapping[str, str]": {"type": "object", "additionalProperties": TEXT},
    "Mapping[str, float]": {"type": "object", "additionalProperties": NUMBER},
}


def ref(name: str) -> Shape:
    """A reference to one of the shapes below."""
    return {"$ref": f"#/components/schemas/{name}"}


def listed(name: str, of: str, **more: Shape) -> Shape:
    """An object that holds a list of these, and what else is given."""
    properties = {name: {"type": "array", "items": ref(of)}, **more}
    return {"type": "object", "required": [name], "properties": properties}


def _of_message(message: type[Any], meaning: str) -> Shape:
    """The shape of a message of the published language; empty values are left out of it."""
    return {
        "type": "object",
        "description": meaning,
        "required": [
            each.name
            for each in fields(message)
            if each.default is MISSING and each.default_factory is MISSING
        ],
        "properties": {each.name: _OF_TYPE[str(each.type)] for each in fields(message)},
    }


_ENTERED: dict[str, Shape] = {
    "taken_utc_s": MOMENT,
    "entered": MEASURED["properties"]["gravity"],
    "unit": {"type": "string", "enum": [unit.value for unit in GravityUnit]},
    "sample_c": MEASURED["properties"]["sample_c"],
    "calibrated_c": MEASURED["properties"]["calibrated_c"],
    "note": {"type": "string", "maxLength": NOTE_CHARACTERS_MAX, "pattern": ONE_LINE},
    "sure": {
        "type": "boolean",
        "description": "Keep it though it is unlikely; without it an unlikely one is asked about.",
    },
}

SHAPES: dict[str, Shape] = {
    "Problem": dict(problems.SHAPE),
    "Tick": _of_message(Tick, "One look of a chamber's controller."),
    "Event": _of_message(Event, "Something that changed, dated by when it became true."),
    "Chamber": {
        "type": "object",
        "required": ["name", "is_live", "is_silent"],
        "properties": {
            "name": CHAMBER,
            "is_live": {**TRUTH, "description": "The tick may be taken for the present."},
            "is_silent": TRUTH,
            "heard_utc_s": {**NUMBER_OR_NONE, "description": "By the dashboard's own clock."},
            "on_target_since_utc_s": NUMBER_OR_NONE,
            "presence": {"type": ["string", "null"], "enum": [*PresenceState, None]},
            "tick": {"anyOf": [ref("Tick"), {"type": "null"}]},
            "batch": {"anyOf": [ref("Batch"), {"type": "null"}]},
        },
    },
    "Batch": {
        "type": "object",
        "required": ["id", "chamber", "name", "pitched_utc_s", "original_sg", "expected_final_sg",
                     "volume_l", "strain", "ended_utc_s"],
        "properties": {
            "id": ID,
            "chamber": CHAMBER,
            "name": TEXT,
            "pitched_utc_s": NUMBER,
            "original_sg": NUMBER,
            "expected_final_sg": NUMBER,
            "volume_l": NUMBER,
            "strain": TEXT,
            "ended_utc_s": NUMBER_OR_NONE,
        },
    },
    "Gravity": {
        "type": "object",
        "description": "A reading as it was typed or measured, and what it says of the beer; null"
        " where it says nothing.",
        "required": ["id", "batch", "taken_utc_s", "entered", "unit", "sample_c", "calibrated_c",
                     "note"],
        "properties": {
            "id": ID,
            "batch": ID,
            "taken_utc_s": NUMBER,
            "entered": NUMBER,
            "unit": _ENTERED["unit"],
            "sample_c": NUMBER,
            "calibrated_c": NUMBER,
            "note": TEXT,
            "corrected_sg": NUMBER_OR_NONE,
            "apparent_attenuation": NUMBER_OR_NONE,
            "real_attenuation": NUMBER_OR_NONE,
            "alcohol_by_volume": NUMBER_OR_NONE,
            "share_of_expected_drop": NUMBER_OR_NONE,
        },
    },
    "NewGravity": {
        "type": "object",
        "required": ["taken_utc_s", "entered", "unit", "sample_c"],
        "additionalProperties": False,
        "properties": _ENTERED,
    },
    "ChangedGravity": {
        "type": "object",
        "additionalProperties": False,
        "minProperties": 1,
        "properties": _ENTERED,
    },
    "Measured": dict(MEASURED),
    "Note": {
        "type": "object",
        "required": ["id", "batch", "at_utc_s", "kind", "text"],
        "properties": {
            "id": ID,
            "batch": ID,
            "at_utc_s": NUMBER,
            "kind": {"type": "string", "enum": [kind.value for kind in NoteKind]},
            "text": TEXT,
        },
    },
    "Bucket": {
        "type": "object",
        "description": "The ticks of one stretch of time, thinned.",
        "required": ["start_utc_s", "heat_share", "fan_share"],
        "properties": {
            "start_utc_s": NUMBER,
            "beer_low_c": NUMBER_OR_NONE,
            "beer_mean_c": NUMBER_OR_NONE,
            "beer_high_c": NUMBER_OR_NONE,
            "garage_mean_c": NUMBER_OR_NONE,
            "target_c": NUMBER_OR_NONE,
            "heat_share": NUMBER,
            "fan_share": NUMBER,
        },
    },
    "Chambers": listed("chambers", "Chamber"),
    "Batches": listed("batches", "Batch"),
    "Gravities": listed("gravities", "Gravity"),
    "Notes": listed("notes", "Note"),
    "Curve": listed("buckets", "Bucket", bucket_s=NUMBER),
    "Events": listed("events", "Event"),
    "Ticks": listed("ticks", "Tick", next_utc_s=NUMBER_OR_NONE),
    "Everything": {"type": "object", "required": ["chambers"]},
}  # fmt: skip
