"""How a setting is declared: one dataclass field with its meaning, unit, bounds and default.

`controller/settings.py` reads these declarations to parse a settings file, to list every problem
at once and to print the table of settings; the stage that uses a setting owns its declaration.
Nothing here decides anything.
"""

from __future__ import annotations

from dataclasses import MISSING, field
from typing import Any

DECLARATION = "setting"


def setting(
    meaning: str,
    *,
    unit: str = "",
    default: Any = MISSING,
    low: float | None = None,
    high: float | None = None,
    words: tuple[str, ...] = (),
) -> Any:
    """A dataclass field that is a setting.

    Args:
        meaning: one line for the reader of the settings file.
        unit: the unit of a number, as its name's ending says it.
        default: the value when the file does not give one; without it the setting is required.
        low: the smallest value allowed.
        high: the greatest value allowed.
        words: the only texts allowed, when it is a choice.
    """
    declaration = {"meaning": meaning, "unit": unit, "low": low, "high": high, "words": words}
    return field(default=default, metadata={DECLARATION: declaration})
