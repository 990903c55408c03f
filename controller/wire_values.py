"""How each kind of value in a message is read from JSON, strictly, and rounded on its way out.

Part of the published language (`wire.py`); the standard library only.
"""

from __future__ import annotations

import math
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
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise refused(f"{name} is {value!r}, not a finite number.")
    return float(value)


def _whole(name: str, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**53:
        raise refused(f"{name} is {value!r}, not a whole number from 0.")
    return value


def _exactly(kind: type[Any], noun: str) -> Callable[[str, Any], Any]:
    def reader(name: str, value: Any) -> Any:
        if not isinstance(value, kind):
            raise refused(f"{name} is {value!r}, not {noun}.")
        return value

    return reader


_text = _exactly(str, "text")


def _texts(name: str, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise refused(f"{name} is {value!r}, not a list.")
    return tuple(_text(name, each) for each in value)


def _by_role(read: Callable[[str, Any], Any]) -> Callable[[str, Any], Mapping[str, Any]]:
    def reader(name: str, value: Any) -> Mapping[str, Any]:
        if not isinstance(value, dict):
            raise refused(f"{name} is {value!r}, not an object.")
        return {key: read(f"{name}.{key}", each) for key, each in value.items()}

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
