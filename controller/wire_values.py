"""How each kind of value in a message is read from JSON, strictly, and rounded on its way out.

Part of the published language (`wire.py`); the standard library only.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

from controller.errors import WireError


def no_constant(word: str) -> float:
    """Refuses NaN and the infinities, which JSON does not know and Python would read."""
    raise ValueError(f"{word} is not a number JSON knows")


def refused(why: str) -> WireError:
    """The error of a message that cannot be read."""
    return WireError(f"A message was refused: {why}", "Bring both programs to the same release.")


# Why: milliseconds and ten-thousandths are below every clock and probe here, and keep lines short.
_DECIMALS = 4
# Why: JSON can spell half of a character, which no file and no broker can hold.
_HALF_CHARACTER = re.compile("[\ud800-\udfff]")


def rounded(value: Any) -> Any:
    """A value as it is written: fractions to ten-thousandths, tuples as lists."""
    if isinstance(value, float):
        return round(value, _DECIMALS)
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, Mapping):
        return {key: rounded(each) for key, each in value.items()}
    return value


def _number(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise refused(f"{name} is {value!r:.60}, not a finite number.")
    try:
        number = float(value)
    except OverflowError:  # An integer of more digits than a float has room for.
        number = math.inf
    if not math.isfinite(number):
        raise refused(f"{name} is {value!r:.60}, not a finite number.")
    return number


def _whole(name: str, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**53:
        raise refused(f"{name} is {value!r:.60}, not a whole number from 0.")
    return value


def _exactly(kind: type[Any], noun: str) -> Callable[[str, Any], Any]:
    def reader(name: str, value: Any) -> Any:
        if not isinstance(value, kind):
            raise refused(f"{name} is {value!r:.60}, not {noun}.")
        return value

    return reader


def _text(name: str, value: Any) -> str:
    if not isinstance(value, str) or _HALF_CHARACTER.search(value):
        raise refused(f"{name} is {value!r:.60}, not text.")
    return value


def _texts(name: str, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise refused(f"{name} is {value!r:.60}, not a list.")
    return tuple(_text(name, each) for each in value)


def _by_role(read: Callable[[str, Any], Any]) -> Callable[[str, Any], Mapping[str, Any]]:
    def reader(name: str, value: Any) -> Mapping[str, Any]:
        if not isinstance(value, dict):
            raise refused(f"{name} is {value!r:.60}, not an object.")
        return {_text(name, key): read(f"{name}.{key}", each) for key, each in value.items()}

    return reader


READER_OF_TYPE: dict[str, Callable[[str, Any], Any]] = {
    "str": _text,
    "str | None": _text,
    "int": _whole,
    "int | None": _whole,
    "float": _number,
    "float | None": _number,
    "bool": _exactly(bool, "true or false"),
    "tuple[str, ...]": _texts,
    "Mapping[str, str]": _by_role(_text),
    "Mapping[str, float]": _by_role(_number),
}
