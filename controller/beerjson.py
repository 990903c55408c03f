"""BeerJSON: fermentation procedures in the open interchange format, to Profiles and back.

It finds the `fermentations` of a document and the `fermentation` of each of its recipes (format
2.01, 2.06 and 3.0) and lists every problem at once; `procedure` says what is right and what it
means. What the format cannot say (deadband, alarm limits, rates) is not smuggled into it, and
nothing outside fermentation is judged.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from controller.decision.profile import Profile as Profile
from controller.decision.profile import Step as Step
from controller.errors import DiskError, SettingsError
from controller.procedure import is_number, read_procedure, shown, written_time

WRITTEN_VERSION = 2.06  # Why: readers of 2.06 and of 3.0 both take it.
VERSION_MIN = 1.0  # Why: what the standard's own introduction calls itself.
VERSION_BELOW = 4.0  # Why: a next major version may mean something else by the same words.
BYTES_MAX = 1_000_000  # Why: a document of a hundred recipes is a tenth of this.
PROCEDURES_MAX = 100  # Why: one for each strain of a large collection.
PROBLEMS_MAX = 30  # Why: nobody reads more before mending the first.


def load_profile(path: Path, name: str | None = None) -> Profile:
    """The procedure of this name in a BeerJSON file; without a name, the only one in it.

    Raises:
        DiskError: the file cannot be read.
        SettingsError: it is not right, or holds none or several that fit.
    """
    try:
        with path.open("rb") as file:
            text = file.read(BYTES_MAX + 1).decode("utf-8-sig")
    except OSError as error:
        raise DiskError(
            f"The profile {path} cannot be read: {error.strerror}.",
            "Give the path of a BeerJSON file that this user may read.",
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(
            f"The profile {path} is not text in UTF-8 (byte {error.start}).", "Save it as UTF-8."
        ) from error
    profiles = parse(text, str(path))
    chosen = [profile for profile in profiles if name is None or profile.name == name]
    if len(chosen) == 1:
        return chosen[0]
    names = ", ".join(repr(profile.name) for profile in profiles)
    count = "several procedures" if name is None else f"{len(chosen)} procedures called {name!r}"
    raise SettingsError(
        f"The profile {path} has {count}; it holds {names}.",
        "Ask for one of them by its name, and give no two the same.",
    )


def parse(text: str, source: str = "The BeerJSON document") -> tuple[Profile, ...]:
    """Every fermentation procedure of a document, in its order; at least one.

    Args:
        text: the JSON, at most 1 MB.
        source: what to call the document in an error.

    Raises:
        SettingsError: it lists every problem with its JSON path, its value and what is allowed.
    """
    document = _decoded(text, source)
    problems: list[str] = []
    profiles = [
        read_procedure(found, path, problems) for path, found in _procedures(document, problems)
    ]
    if not profiles and not problems:
        problems.append(
            "$.beerjson: no fermentation procedure; must have one in fermentations[] or in"
            " recipes[].fermentation"
        )
    if not problems:
        return tuple(profiles)
    lines = problems[:PROBLEMS_MAX]
    if len(problems) > PROBLEMS_MAX:
        lines.append(f"and {len(problems) - PROBLEMS_MAX} more")
    count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
    raise SettingsError(
        f"{source} has {count}:" + "".join(f"\n  {line}." for line in lines),
        "Put each right at its place and load it again.",
    )


def to_beerjson(profile: Profile) -> str:
    """The profile as a BeerJSON document of format 2.06, indented, with a last newline. Times are
    rounded to whole seconds, as the format wants.
    """
    steps = [_written_step(step) for step in profile.steps]
    procedure = {"name": profile.name, "fermentation_steps": steps}
    document = {"beerjson": {"version": WRITTEN_VERSION, "fermentations": [procedure]}}
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _written_step(step: Step) -> dict[str, Any]:
    written: dict[str, Any] = {
        "name": step.name,
        "start_temperature": {"unit": "C", "value": step.start_c},
        "end_temperature": {"unit": "C", "value": step.end_c},
    }
    if step.hold_s is not None:
        written["step_time"] = written_time(step.hold_s)
    if step.end_sg is not None:
        written["end_gravity"] = {"unit": "sg", "value": step.end_sg}
    if step.free_rise:
        written["free_rise"] = True
    return written


def _decoded(text: str, source: str) -> Any:
    if len(text) > BYTES_MAX or len(text.encode("utf-8", "replace")) > BYTES_MAX:
        raise SettingsError(
            f"{source} is larger than {BYTES_MAX:,} bytes.",
            "Keep its fermentation procedures in a file of their own.",
        )
    try:
        return json.loads(text, parse_constant=_no_number, object_pairs_hook=_once_each)
    except json.JSONDecodeError as error:
        trouble = f"{error.msg} at line {error.lineno}, column {error.colno}"
    except RecursionError:
        trouble = "it is nested too deeply"
    except ValueError as error:
        trouble = str(error)
    raise SettingsError(f"{source} is not proper JSON: {trouble}.", "Correct it and load it again.")


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is not a number in JSON")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys are given once each; a second one would silently win."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {shown(key)} is given twice in one object")
        found[key] = value
    return found


def _procedures(document: Any, problems: list[str]) -> list[tuple[str, Any]]:
    """Where each procedure of the document is, and what is there."""
    root = document.get("beerjson") if isinstance(document, dict) else None
    if not isinstance(root, dict) or len(document) > 1:
        problems.append('$: must be {"beerjson": {...}} and have nothing beside it')
        return []
    version = root.get("version")
    if not is_number(version) or not VERSION_MIN <= version < VERSION_BELOW:
        seen = shown(version) if "version" in root else "missing"
        problems.append(f"$.beerjson.version: {seen}; must be a number, 2.06 or 3")
    places: list[tuple[str, Any]] = []
    for key in ("fermentations", "recipes"):
        path = f"$.beerjson.{key}"
        entries = root.get(key, [])
        if not isinstance(entries, list):
            problems.append(f"{path}: {shown(entries)}; must be a list")
        elif key == "fermentations":
            places.extend((f"{path}[{index}]", each) for index, each in enumerate(entries))
        else:
            places.extend(_of_recipes(entries, path, problems))
    if len(places) > PROCEDURES_MAX:
        problems.append(f"$.beerjson: {len(places)} procedures; must be {PROCEDURES_MAX} or fewer")
    return places[:PROCEDURES_MAX]


def _of_recipes(recipes: list[Any], path: str, problems: list[str]) -> list[tuple[str, Any]]:
    found = []
    for index, recipe in enumerate(recipes):
        if not isinstance(recipe, dict):
            problems.append(f"{path}[{index}]: {shown(recipe)}; must be an object")
        elif "fermentation" in recipe:
            found.append((f"{path}[{index}].fermentation", recipe["fermentation"]))
    return found
