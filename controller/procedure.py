"""Procedure: one BeerJSON fermentation procedure, checked and understood.

It holds the format's table of keys, kinds and units, and what a chamber makes of them: a step
without a temperature keeps the one before, different temperatures are a ramp over `step_time`, the
last step holds for good. It reads no file and finds no procedure; `beerjson` does. A value that was
complained of becomes NaN, of which every comparison is false, so one slip is told once.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, TypeGuard, cast

from controller.decision.profile import Profile, Step

STEPS_MAX = 50  # Why: a long procedure has ten.
TEXT_MAX = 80  # Why: a name must fit a phone's line and a tick.
BEER_C_MIN = -2.0  # Why: beer freezes below.
BEER_C_MAX = 45.0  # Why: the hottest yeast known to brewers is dying here.
STEP_S_MAX = 366 * 86_400  # Why: a year; mixed cultures take half of one.
NUMBER_MAX = 1e12  # Why: nothing here is larger, and larger integers overflow a float.
SG_MIN = 0.980  # Why: no beer is lighter.
SG_MAX = 1.170  # Why: no wort is heavier.
# Source: ASBC table as a cubic in SG 20/20; Brix differs from Plato by less than 0.002 at 10 °P.
PLATO_OF_SG = (-616.868, 1111.14, -630.272, 135.997)
PLATO_MIN = -5.2  # Why: SG_MIN on this scale.
PLATO_MAX = 38.2  # Why: SG_MAX on this scale.

# Source: BeerJSON measureable_units, format 2.06 and 3.0: the units of each kind of measure.
UNITS: Mapping[str, tuple[str, ...]] = {
    "temperature": ("C", "F"),
    "time": ("sec", "min", "hr", "day", "week"),
    "gravity": ("sg", "plato", "brix"),
    "acidity": ("pH",),
    "pressure": ("kPa", "psi", "bar"),
}
# Source: BeerJSON measureable_units: TimeUnitType, in s.
UNIT_S: Mapping[str, int] = {"sec": 1, "min": 60, "hr": 3600, "day": 86_400, "week": 604_800}
# Source: BeerJSON FermentationProcedureType and FermentationStepType: key and kind.
PROCEDURE_KEYS: Mapping[str, str] = {
    "name": "name",
    "description": "text",
    "notes": "text",
    "fermentation_steps": "list",
}
STEP_KEYS: Mapping[str, str] = {
    "name": "name",
    "description": "text",
    "start_temperature": "temperature",
    "end_temperature": "temperature",
    "step_time": "time",
    "free_rise": "truth",
    "start_gravity": "gravity",
    "end_gravity": "gravity",
    "start_ph": "acidity",
    "end_ph": "acidity",
    "vessel": "text",
    "vessel_pressure": "pressure",
}


def read_procedure(value: Any, path: str, problems: list[str]) -> Profile:
    """The Profile of a procedure; worth nothing when it added to `problems`.

    Args:
        value: the decoded JSON.
        path: where it is in its document, like `$.beerjson.fermentations[0]`.
        problems: what is wrong is added here, one line each.
    """
    found = _object(value, PROCEDURE_KEYS, ("name", "fermentation_steps"), path, problems)
    written = found.get("fermentation_steps", [])
    path = f"{path}.fermentation_steps"
    if "fermentation_steps" in found and not 1 <= len(written) <= STEPS_MAX:
        problems.append(f"{path}: {len(written)} steps; must be 1 to {STEPS_MAX}")
    steps: list[Step] = []
    for index, each in enumerate(written[:STEPS_MAX]):
        where = f"{path}[{index}]"
        fields = _object(each, STEP_KEYS, ("name",), where, problems)
        step = _step(fields, steps)
        if isinstance(each, dict):
            is_last = index == len(written) - 1
            problems.extend(f"{where}: {what}" for what in _misfits(step, steps, is_last))
            if not steps and not fields.keys() & {"start_temperature", "end_temperature"}:
                problems.append(f"{where}.start_temperature: missing; the first step needs one")
        steps.append(step)
    return Profile(found.get("name", ""), tuple(steps))


def sg_from_plato(plato: float) -> float:
    """SG 20/20 of -5.2 to 38.2 °P: the inverse of the ASBC cubic, by Newton's method."""
    zero, one, two, three = PLATO_OF_SG
    sg = 1.0 + plato / 258.0
    for _ in range(8):
        excess = zero + sg * (one + sg * (two + sg * three)) - plato
        sg -= excess / (one + sg * (2 * two + sg * 3 * three))
    return sg


def written_time(seconds: float) -> dict[str, Any]:
    """A time as the format wants it: whole, in the largest unit up to days that says it exactly."""
    whole = max(1, round(seconds))
    unit = next(unit for unit in ("day", "hr", "min", "sec") if whole % UNIT_S[unit] == 0)
    return {"unit": unit, "value": whole // UNIT_S[unit]}


def is_number(value: Any) -> TypeGuard[float]:
    """Whether a decoded JSON value is a number of sensible size; true and false are not."""
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and (abs(value) <= NUMBER_MAX)
    )


def shown(value: Any) -> str:
    """A decoded JSON value as it may stand in a sentence."""
    text = json.dumps(value, ensure_ascii=False).encode("utf-8", "replace").decode()
    return text if len(text) <= TEXT_MAX else f"{text[:TEXT_MAX]}…"


def _step(fields: Mapping[str, Any], earlier: list[Step]) -> Step:
    """The step these fields mean after these earlier ones; NaN where a temperature is missing."""
    before_c = earlier[-1].end_c if earlier else fields.get("end_temperature", math.nan)
    start_c = fields.get("start_temperature", before_c)
    return Step(
        name=fields.get("name", ""),
        start_c=start_c,
        end_c=fields.get("end_temperature", start_c),
        hold_s=fields.get("step_time"),
        end_sg=fields.get("end_gravity"),
        free_rise=fields.get("free_rise", False),
    )


def _misfits(step: Step, earlier: list[Step], is_last: bool) -> list[str]:
    """What no chamber could do with a step, though each of its values is right by itself."""
    reached_sg = min((each.end_sg for each in earlier if each.end_sg is not None), default=math.inf)
    ramp = f"from {step.start_c:g} to {step.end_c:g} °C"
    rows = (
        (
            not step.free_rise and abs(step.end_c - step.start_c) > 0.0 and step.hold_s is None,
            f"a ramp {ramp} without a duration; give it a step_time",
        ),
        (
            step.free_rise and step.end_c <= step.start_c,
            f"a free rise {ramp}; give an end_temperature above the start, as its ceiling",
        ),
        (
            not is_last and step.hold_s is None and step.end_sg is None,
            "it never ends, so the steps after it are never reached; give it a step_time, an"
            " end_gravity or both",
        ),
        (
            step.end_sg is not None and step.end_sg > reached_sg,
            f"its end_gravity is above SG {reached_sg:.4g}, where an earlier step ends; a ferment"
            " only falls, so give it a lower one",
        ),
    )
    return [what for is_wrong, what in rows if is_wrong]


def _object(
    value: Any,
    keys: Mapping[str, str],
    required: tuple[str, ...],
    path: str,
    problems: list[str],
) -> dict[str, Any]:
    """The values of an object in our own units, each read by the kind its key has in the table."""
    if not isinstance(value, dict):
        problems.append(f"{path}: {shown(value)}; must be an object")
        return {}
    problems.extend(f"{path}.{key}: missing; required" for key in required if key not in value)
    found = {}
    for key, entry in value.items():
        if key not in keys:
            problems.append(f"{path}.{shown(key)[1:-1]}: unknown; may be {', '.join(keys)}")
            continue
        found[key] = READERS[keys[key]](entry, f"{path}.{key}", problems)
    return found


def _name(value: Any, path: str, problems: list[str]) -> str:
    if isinstance(value, str) and value.strip() and value.isprintable() and len(value) <= TEXT_MAX:
        return value
    problems.append(f"{path}: {shown(value)}; must be a text of 1 to {TEXT_MAX} letters in a line")
    return ""


def _text(value: Any, path: str, problems: list[str]) -> str:
    if not isinstance(value, str):
        problems.append(f"{path}: {shown(value)}; must be a text")
    return ""


def _truth(value: Any, path: str, problems: list[str]) -> bool:
    if not isinstance(value, bool):
        problems.append(f"{path}: {shown(value)}; must be true or false, without quotes")
    return value is True


def _list(value: Any, path: str, problems: list[str]) -> list[Any]:
    if isinstance(value, list):
        return value
    problems.append(f"{path}: {shown(value)}; must be a list")
    return []


def _measure(kind: str, value: Any, path: str, problems: list[str]) -> tuple[str, float]:
    """Unit and value of a measure; an empty unit when they are not right."""
    units = UNITS[kind]
    before = len(problems)
    if not isinstance(value, dict):
        example = {"unit": units[0], "value": 1}
        problems.append(f"{path}: {shown(value)}; must be an object like {shown(example)}")
        return "", math.nan
    for key in value.keys() - {"unit", "value"}:
        problems.append(f"{path}.{shown(key)[1:-1]}: unknown; may be unit, value")
    if value.get("unit") not in units:
        problems.append(f"{path}.unit: {_or_missing(value, 'unit')}; must be {' or '.join(units)}")
    if not is_number(value.get("value")):
        problems.append(f"{path}.value: {_or_missing(value, 'value')}; must be a number")
    if len(problems) > before:
        return "", math.nan
    return cast(str, value["unit"]), float(value["value"])


def _temperature(value: Any, path: str, problems: list[str]) -> float:
    """In °C."""
    unit, number = _measure("temperature", value, path, problems)
    beer_c = round((number - 32.0) / 1.8, 6) if unit == "F" else number
    if not unit or BEER_C_MIN <= beer_c <= BEER_C_MAX:
        return beer_c
    what = f"{path}: {number:g} {unit}; must be {BEER_C_MIN:g} to {BEER_C_MAX:g} °C"
    meant_c = (number - 32.0) / 1.8
    if unit == "C" and number > BEER_C_MAX and meant_c <= BEER_C_MAX:
        what += f'; looks like Fahrenheit: {number:g} °F is {meant_c:.1f} °C, so write unit "F"'
    elif unit == "F" and BEER_C_MIN <= number <= BEER_C_MAX:
        what += f'; looks like Celsius: for {number:g} °C write unit "C"'
    problems.append(what)
    return math.nan


def _time(value: Any, path: str, problems: list[str]) -> float:
    """In s."""
    unit, number = _measure("time", value, path, problems)
    if not unit:
        return math.nan
    seconds = number * UNIT_S[unit]
    if not number.is_integer():
        instead = shown(written_time(seconds))
        problems.append(f"{path}.value: {number:g}; must be a whole number, so write {instead}")
        return math.nan
    if not 1 <= seconds <= STEP_S_MAX:
        problems.append(f"{path}: {number:g} {unit}; must be 1 sec to {STEP_S_MAX // 86_400} day")
        return math.nan
    return seconds


def _gravity(value: Any, path: str, problems: list[str]) -> float:
    """As SG 20/20. Plato and Brix are taken as one scale."""
    unit, number = _measure("gravity", value, path, problems)
    if not unit:
        return math.nan
    low, high = (SG_MIN, SG_MAX) if unit == "sg" else (PLATO_MIN, PLATO_MAX)
    if low <= number <= high:
        return number if unit == "sg" else sg_from_plato(number)
    what = f"{path}: {number:g} {unit}; must be {low:g} to {high:g}"
    if unit == "sg" and SG_MIN <= number / 1000.0 <= SG_MAX:
        what += f"; looks like {number / 1000.0:.4g}"
    elif unit == "sg" and SG_MAX < number <= PLATO_MAX:
        what += f'; for {number:g} °P write unit "plato"'
    problems.append(what)
    return math.nan


def _or_missing(entry: Mapping[str, Any], key: str) -> str:
    return shown(entry[key]) if key in entry else "missing"


READERS: Mapping[str, Callable[[Any, str, list[str]], Any]] = {
    "name": _name,
    "text": _text,
    "truth": _truth,
    "list": _list,
    "temperature": _temperature,
    "time": _time,
    "gravity": _gravity,
    "acidity": partial(_measure, "acidity"),
    "pressure": partial(_measure, "pressure"),
}
