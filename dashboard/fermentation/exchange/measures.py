"""Measures: the quantities of a BeerJSON document in this project's units.

Every measure is an object of a unit and a value. One that is absent gives None; one that is there
but wrong is complained of with its place. Limits of sense (a 400 °C beer) are kept by who asks.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dashboard.errors import EntryError
from dashboard.fermentation.gravity import sg_from_plato

BYTES_MAX = 1_000_000  # Why: a document of a hundred recipes is a tenth of this.
TEXT_MAX = 200  # Why: a name must fit a line.

# Source: BeerJSON measureable_units, format 2.06 and 3.0. Each factor: definition of the unit, in
# litres, grams or seconds.
LITRES: Mapping[str, float] = {
    "ml": 0.001,
    "l": 1.0,
    "tsp": 0.00492892,
    "tbsp": 0.0147868,
    "floz": 0.0295735,
    "cup": 0.236588,
    "pt": 0.473176,
    "qt": 0.946353,
    "gal": 3.785412,
    "bbl": 117.3478,
    "ifloz": 0.0284131,
    "ipt": 0.568261,
    "iqt": 1.136523,
    "igal": 4.54609,
    "ibbl": 163.6592,
}
GRAMS: Mapping[str, float] = {"mg": 0.001, "g": 1.0, "kg": 1000.0, "lb": 453.59237, "oz": 28.349523}
SECONDS: Mapping[str, float] = {
    "sec": 1.0,
    "min": 60.0,
    "hr": 3600.0,
    "day": 86_400.0,
    "week": 604_800.0,
}


def document(text: str) -> dict[str, Any]:
    """The `beerjson` object of a document.

    Raises:
        EntryError: it is too long, not JSON, or has no such object.
    """
    remedy = "Choose a BeerJSON document (.json) exported by a brewing program."
    if len(text) > BYTES_MAX:
        raise EntryError(f"The document is larger than {BYTES_MAX:,} bytes.", remedy)
    try:
        found = json.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as error:
        raise EntryError(f"The document is not proper JSON: {error}.", remedy) from error
    root = found.get("beerjson") if isinstance(found, dict) else None
    if not isinstance(root, dict):
        raise EntryError('The document has no "beerjson" object.', remedy)
    return root


def objects(parent: Mapping[str, Any], key: str, path: str) -> list[dict[str, Any]]:
    """The list of objects under this key; empty when it is absent."""
    found = parent.get(key, [])
    if not isinstance(found, list) or not all(isinstance(each, dict) for each in found):
        raise complaint(f"{path}.{key}", found, "a list of objects")
    return found


def text_of(parent: Mapping[str, Any], key: str, path: str) -> str:
    """A text, cut to a line; empty when it is absent."""
    found = parent.get(key, "")
    if not isinstance(found, str):
        raise complaint(f"{path}.{key}", found, "a text")
    return found.strip()[:TEXT_MAX]


def measure(
    parent: Mapping[str, Any], key: str, path: str, factors: Mapping[str, float]
) -> float | None:
    """A measure by a table of units."""
    found = _pair(parent, key, path)
    if found is None:
        return None
    unit, value = found
    if unit not in factors:
        raise complaint(f"{path}.{key}.unit", unit, f"one of {', '.join(factors)}")
    return value * factors[unit]


def celsius(parent: Mapping[str, Any], key: str, path: str) -> float | None:
    """A temperature in °C."""
    found = _pair(parent, key, path)
    if found is None:
        return None
    unit, value = found
    if unit not in ("C", "F"):
        raise complaint(f"{path}.{key}.unit", unit, "C or F")
    return value if unit == "C" else (value - 32.0) / 1.8


def specific_gravity(parent: Mapping[str, Any], key: str, path: str) -> float | None:
    """A gravity as SG 20/20."""
    found = _pair(parent, key, path)
    if found is None:
        return None
    unit, value = found
    if unit not in ("sg", "plato", "brix"):
        raise complaint(f"{path}.{key}.unit", unit, "sg, plato or brix")
    return value if unit == "sg" else sg_from_plato(value)


def complaint(path: str, found: object, wanted: str) -> EntryError:
    """What is wrong at a place, and what must be there."""
    shown = json.dumps(found, ensure_ascii=False)[:60]
    return EntryError(f"$.beerjson.{path.lstrip('.')} is {shown}.", f"There must be {wanted}.")


def _pair(parent: Mapping[str, Any], key: str, path: str) -> tuple[str, float] | None:
    found = parent.get(key)
    if found is None:
        return None
    value = found.get("value") if isinstance(found, dict) else None
    if not isinstance(value, int | float) or isinstance(value, bool) or abs(value) > 1e9:
        raise complaint(f"{path}.{key}", found, "an object of a unit and a number")
    return str(found.get("unit")), float(value)
