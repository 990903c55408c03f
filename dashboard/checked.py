"""Checks a value that came as JSON against the shape a table gives it.

The shapes are the plain part of JSON Schema 2020-12 that the interface's document shows, so that
what is promised and what is checked are one table. A key of a shape that is not known here is an
error of ours, not of the sender.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

PROBLEMS_MAX = 20  # Why: more is not read by anybody.
_TYPES: dict[str, Callable[[Any], bool]] = {
    "object": lambda value: isinstance(value, dict),
    "array": lambda value: isinstance(value, list),
    "string": lambda value: isinstance(value, str),
    "boolean": lambda value: isinstance(value, bool),
    "null": lambda value: value is None,
    "integer": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "number": lambda value: isinstance(value, int | float) and not isinstance(value, bool),
}
_WORDS = {
    "object": "an object",
    "array": "a list",
    "string": "text",
    "boolean": "true or false",
    "null": "null",
    "integer": "a whole number",
    "number": "a number",
}


def problems(shape: Mapping[str, Any], value: Any, at: str = "") -> list[str]:
    """What is wrong with the value, each with its place; empty when it fits."""
    return list(_problems(shape, value, at))[:PROBLEMS_MAX]


def _problems(shape: Mapping[str, Any], value: Any, at: str) -> list[str]:
    where = at or "it"
    kinds = shape["type"] if isinstance(shape["type"], list) else [shape["type"]]
    if not any(_TYPES[kind](value) for kind in kinds):
        return [f"{where} is not {' or '.join(_WORDS[kind] for kind in kinds)}"]
    if "enum" in shape and value not in shape["enum"]:
        return [f"{where} is none of {', '.join(map(str, shape['enum']))}"]
    if isinstance(value, dict):
        return _of_object(shape, value, at)
    if isinstance(value, str):
        return _of_text(shape, value, where)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _of_number(shape, value, where)
    return []


def _of_object(shape: Mapping[str, Any], value: dict[str, Any], at: str) -> list[str]:
    known = shape.get("properties", {})
    start = f"{at}." if at else ""
    found = [f"{start}{name} is missing" for name in shape.get("required", ()) if name not in value]
    for name, inner in value.items():
        if name in known:
            found += _problems(known[name], inner, f"{start}{name}")
        elif shape.get("additionalProperties") is False:
            found.append(f"{start}{name[:40]!r} is not known; known are {', '.join(known)}")
    if len(value) < shape.get("minProperties", 0):
        found.append(f"{at or 'it'} is empty")
    return found


def _of_text(shape: Mapping[str, Any], value: str, where: str) -> list[str]:
    if not shape.get("minLength", 0) <= len(value) <= shape.get("maxLength", math.inf):
        least, most = shape.get("minLength", 0), shape.get("maxLength")
        return [f"{where} has {len(value)} characters; {least} to {most} are allowed"]
    # A pattern here is always for the whole text; Python's $ would let a line end pass.
    if "pattern" in shape and not re.fullmatch(shape["pattern"].strip("^$"), value):
        return [f"{where} has characters that are not allowed"]
    return []


def _of_number(shape: Mapping[str, Any], value: float, where: str) -> list[str]:
    low, high = shape.get("minimum", -math.inf), shape.get("maximum", math.inf)
    if not low <= value <= high or math.isinf(value):
        return [f"{where} is {value:g}; {low:g} to {high:g} are allowed"]
    return []
