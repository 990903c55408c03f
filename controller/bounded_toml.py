"""Reads a settings file against declared dataclasses, and lists everything wrong with it at once.

Each table of the file is one dataclass whose fields are declared with `bounded.setting`. Strict: a
table or key nobody declared is an error, because a misspelt limit is no limit. What a setting means
to the program is decided by the stage that owns its dataclass; here is only text, kind and range.
Both programs read their files through this one place.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from controller.bounded import DECLARATION
from controller.errors import DiskError, SettingsError

FILE_BYTES_MAX = 262_144  # Why: our longest example is under 10 kB; a larger file is another file.
SHOWN_CHARACTERS_MAX = 60  # Why: a value longer than a line would bury the problem it explains.
_CELSIUS = re.compile(r"_c(_|$)")  # Why: a temperature's name ends so, or goes on with a qualifier.


class _RefusalError(Exception):
    """One value cannot be used. Becomes a Problem where its path is known."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.what = what
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class _Declared:
    """One setting as its dataclass declares it."""

    name: str
    kind: Any
    default: Any
    rules: Mapping[str, Any]

    def limits(self) -> tuple[float, float]:
        low, high = self.rules["low"], self.rules["high"]
        return (-math.inf if low is None else low, math.inf if high is None else high)


@dataclass(frozen=True, slots=True)
class _Kind:
    """A kind of setting: what TOML makes of it, and the words for it."""

    toml: type[Any]
    noun: str
    how: str


def text_of(path: Path) -> str:
    """The text of a settings file.

    Raises:
        DiskError: it is missing, a folder, not readable, or not UTF-8 text of a sensible length.
    """
    try:
        raw = path.read_bytes()
        if len(raw) > FILE_BYTES_MAX:
            raise DiskError(
                f"The settings file {path} has {len(raw)} bytes, over {FILE_BYTES_MAX}.",
                "Name the settings file itself.",
            )
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DiskError(
            f"The settings file {path} is not UTF-8 text (byte {error.start}).",
            "Save it again as UTF-8.",
        ) from error
    except FileNotFoundError as error:
        raise DiskError(
            f"There is no settings file {path}.", "Create it, or name the right one."
        ) from error
    except OSError as error:
        if isinstance(error, DiskError):
            raise
        raise DiskError(
            f"The settings file {path} cannot be read: {error.strerror}.",
            "Check that it is a file, and its owner and mode.",
        ) from error


def read_tables(
    text: str, tables: Mapping[str, type[Any]], optional: Collection[str] = ()
) -> dict[str, Any]:
    """One instance of each table's dataclass, by the table's name.

    A name may be dotted (`probes.beer`); the name "" stands for the keys outside every table. A
    table that is absent is read as an empty one, unless it is `optional`: then it is None.

    Raises:
        SettingsError: its `what` lists every problem of the file, one a line.
    """
    try:
        tree = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SettingsError(
            f"The settings file is not TOML: {error}.", "Correct that line first."
        ) from error
    problems = list(_unknown(tree, tables))
    found: dict[str, Any] = {}
    for name, kind in tables.items():
        body = _table(tree, name)
        if body is None and name in optional:
            found[name] = None
        elif isinstance(body, dict) or body is None:
            found[name] = _instance(name, kind, body or {}, problems)
    if problems:
        raise _all_at_once(problems)
    return found


def _problem(path: str, what: str, remedy: str) -> str:
    return f"{path}: {what}; {remedy}"


def _all_at_once(problems: list[str]) -> SettingsError:
    count = "One problem" if len(problems) == 1 else f"{len(problems)} problems"
    lines = "".join(f"\n  {problem}" for problem in problems)
    return SettingsError(f"{count} in the settings:{lines}", "Correct the file and start again.")


def _table(tree: Mapping[str, Any], name: str) -> Any:
    """What stands where this table should be, or None."""
    found: Any = tree
    for part in name.split(".") if name else ():
        if not isinstance(found, dict) or part not in found:
            return None
        found = found[part]
    return found


def _unknown(
    tree: Mapping[str, Any], tables: Mapping[str, type[Any]], above: str = ""
) -> Iterator[str]:
    """Every key and table nobody declared, and every table that is no table."""
    settings = [each.name for each in _declarations(tables[above])] if above in tables else []
    start = f"{above}." if above else ""
    inner = [n[len(start) :].split(".")[0] for n in tables if n.startswith(start) and n != above]
    for key, value in tree.items():
        path = start + key
        if key in settings:
            continue
        if key not in inner:
            kind = "table" if isinstance(value, dict) else "setting"
            shown = "" if isinstance(value, dict) else f" ({_shown(value)})"
            remedy = _nearest(key, settings + inner, _home_of(key, tables))
            yield _problem(path, f"unknown {kind}{shown}", remedy)
        elif isinstance(value, dict):
            yield from _unknown(value, tables, path)
        else:
            remedy = f"write [{path}] with its keys below it"
            yield _problem(path, f"not a table ({_shown(value)})", remedy)


def _home_of(key: str, tables: Mapping[str, type[Any]]) -> str | None:
    """The table in which this key would be right, when there is one."""
    homes = (n for n, kind in tables.items() if any(key == s.name for s in _declarations(kind)))
    return next(homes, None)


def _nearest(word: str, known: list[str], home: str | None = None) -> str:
    if home:
        return f"it belongs in [{home}]"
    near = difflib.get_close_matches(word, known, n=1)
    if near:
        return f"did you mean {near[0]}?"
    return f"take it out; known here: {', '.join(sorted(set(known)))}"


def _declarations(kind: type[Any]) -> tuple[_Declared, ...]:
    """A dataclass's settings, with the plain kind behind `… | None`."""
    hints = get_type_hints(kind)
    return tuple(
        _Declared(each.name, _plain(hints[each.name]), each.default, each.metadata[DECLARATION])
        for each in fields(kind)
        if DECLARATION in each.metadata
    )


def _plain(hint: Any) -> Any:
    if get_origin(hint) in (Union, UnionType):
        return next(each for each in get_args(hint) if each is not NoneType)
    return hint


def _instance(
    name: str, kind: type[Any], body: Mapping[str, Any], problems: list[str]
) -> Any | None:
    """The dataclass filled from one table, or None when this table has a problem."""
    before = len(problems)
    values: dict[str, Any] = {}
    for declared in _declarations(kind):
        try:
            values[declared.name] = _value(declared, body)
        except _RefusalError as refusal:
            path = f"{name}.{declared.name}" if name else declared.name
            problems.append(_problem(path, refusal.what, refusal.remedy))
    if len(problems) > before:
        return None
    try:
        return kind(**values)
    except SettingsError as error:
        problems.append(_problem(name or "file", error.what.rstrip("."), error.remedy))
        return None


def _value(declared: _Declared, body: Mapping[str, Any]) -> Any:
    if declared.name in body:
        return _checked(declared, body[declared.name])
    if declared.default is MISSING:
        raise _RefusalError("missing", f"allowed {_allowed(declared)}; add it")
    return declared.default


def _checked(declared: _Declared, given: Any) -> Any:
    """The value as its declared kind, in its declared range."""
    kind = declared.kind
    if kind is float and type(given) is int:
        given = float(given)
    wanted = kind if kind in _KINDS else str
    if type(given) is not _KINDS[wanted].toml or not _texts_only(given):
        rules = _KINDS[wanted]
        what = f"not {rules.noun} ({_shown(given)})"
        raise _RefusalError(what, f"allowed {_allowed(declared)}; {rules.how}")
    words = _words(declared)
    if words and given not in words:
        what = f"no such choice ({_shown(given)})"
        raise _RefusalError(what, f"allowed {_allowed(declared)}; {_nearest(given, words)}")
    if wanted in (int, float):
        _in_range(declared, given)
    return tuple(given) if isinstance(given, list) else kind(given)


def _texts_only(given: Any) -> bool:
    return not isinstance(given, list) or all(isinstance(each, str) for each in given)


def _in_range(declared: _Declared, given: float) -> None:
    low, high = declared.limits()
    if math.isfinite(given) and low <= given <= high:
        return
    problem = "not a number" if math.isnan(given) else "too small" if given < low else "too great"
    remedy = "give a value in that range"
    celsius = (given - 32) * 5 / 9
    if _CELSIUS.search(declared.name) and math.isfinite(given) and low <= celsius <= high:
        remedy = f"if {given:g} is °F, write {celsius:.1f} (°C)"
    raise _RefusalError(f"{problem} ({_shown(given)})", f"allowed {_allowed(declared)}; {remedy}")


def _words(declared: _Declared) -> list[str]:
    """The texts allowed: those declared, or an enumeration's own."""
    if declared.rules["words"] or declared.kind in _KINDS:
        return list(declared.rules["words"])
    return [str(each.value) for each in declared.kind]


def _allowed(declared: _Declared) -> str:
    """The values a setting may have, in words."""
    words = _words(declared)
    if words:
        return ", ".join(words)
    low, high = declared.limits()
    after = f" {declared.rules['unit']}" if declared.rules["unit"] else ""
    if math.isfinite(low) and math.isfinite(high):
        return f"{low:g} to {high:g}{after}"
    if math.isfinite(low):
        return f"{low:g}{after} or more"
    if math.isfinite(high):
        return f"{high:g}{after} or less"
    return f"{_KINDS[declared.kind].noun}{after}"


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= SHOWN_CHARACTERS_MAX else f"{text[:SHOWN_CHARACTERS_MAX]}…"


# Why: what TOML may hold for each kind of setting, and how to say it. The last row is a list.
_KINDS: dict[Any, _Kind] = {
    float: _Kind(float, "a number", "write it without quotes"),
    int: _Kind(int, "a whole number", "write it without quotes or a decimal point"),
    bool: _Kind(bool, "true or false", "write true or false, without quotes"),
    str: _Kind(str, "text", "write it in quotes"),
    tuple[str, ...]: _Kind(list, "a list of texts", 'write ["one", "two"]'),
}
