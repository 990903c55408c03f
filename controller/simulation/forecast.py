"""A forecast of the garage: nights and days as text, or hours and temperatures as a file.

Only what a person types or a weather service gives becomes a course of the garage's air; it says
nothing about the outside, because a garage is not outside.
"""

from __future__ import annotations

import csv
import math
import re
from itertools import pairwise
from pathlib import Path

from controller.errors import DiskError, SettingsError

DAYS_MAX = 60  # Why: no forecast and no ferment is longer.
ROWS_MAX = 20_000  # Why: two months of a row every five minutes.
CELSIUS_MIN, CELSIUS_MAX = -40.0, 50.0  # Why: beyond them it is another unit.
# Why: a night's minimum comes with the sunrise and a day's maximum in the afternoon.
COLDEST_H, WARMEST_H = 6.0, 15.0
_PAIR = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*/\s*([-+]?\d+(?:\.\d+)?)\s*")
_HOW = (
    'Write one pair for each night, coldest/warmest in °C, like "-4/6,-8/2"; or name a CSV file '
    "with the columns hour and garage_c, hours counted from pitching."
)

Course = tuple[tuple[float, float], ...]


def parse_forecast(text: str, start_hour: float) -> Course:
    """The garage's air as (hours from the start, °C), in order of time.

    Args:
        text: pairs of minimum and maximum, or the name of a CSV file.
        start_hour: the hour of the day, UTC, at the start.

    Raises:
        SettingsError: it is neither, or a value makes no sense.
        DiskError: the file cannot be read.
    """
    if "/" in text and all(_PAIR.fullmatch(part) for part in text.split(",")):
        return _from_pairs(text, start_hour)
    path = Path(text)
    if path.suffix.lower() == ".csv" or path.exists():
        return _from_file(path)
    raise SettingsError(f"{text[:60]!r} is no forecast.", _HOW)


def _from_pairs(text: str, start_hour: float) -> Course:
    nights = []
    for part in text.split(","):
        found = _PAIR.fullmatch(part)
        assert found is not None
        coldest_c, warmest_c = _sane(float(found[1])), _sane(float(found[2]))
        if coldest_c > warmest_c:
            raise SettingsError(
                f"{part.strip()}: the night is warmer than the day.", "Write coldest/warmest."
            )
        nights.append((coldest_c, warmest_c))
    if len(nights) > DAYS_MAX:
        raise SettingsError(f"{len(nights)} nights are too many.", f"Give at most {DAYS_MAX}.")
    # The turning points; hours from the start, the first ones also the day before it.
    turns = []
    for which, peak_h in enumerate((COLDEST_H, WARMEST_H)):
        first_h = (peak_h - start_hour) % 24.0
        for day in range(-1, len(nights) + 1):
            night = nights[min(max(day, 0), len(nights) - 1)]
            turns.append((first_h + 24.0 * day, night[which]))
    turns.sort()
    hours = range(24 * len(nights) + 1)
    return tuple((float(hour), _between(turns, float(hour))) for hour in hours)


def _between(turns: list[tuple[float, float]], hour: float) -> float:
    """Half a cosine from one turning point to the next."""
    (from_h, from_c), (to_h, to_c) = next(pair for pair in pairwise(turns) if hour <= pair[1][0])
    share = (1.0 - math.cos(math.pi * (hour - from_h) / (to_h - from_h))) / 2.0
    return from_c + (to_c - from_c) * share


def _from_file(path: Path) -> Course:
    try:
        with path.open(newline="", encoding="utf-8-sig") as opened:
            rows = [
                row for row, _ in zip(csv.DictReader(opened), range(ROWS_MAX + 1), strict=False)
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise DiskError(f"{path} cannot be read ({error}).", _HOW) from error
    if not 2 <= len(rows) <= ROWS_MAX:
        raise SettingsError(f"{path} has {len(rows)} rows.", f"Give 2 to {ROWS_MAX} of them.")
    course = tuple(_row(path, number, row) for number, row in enumerate(rows, 2))
    if any(after <= before for (before, _), (after, _) in pairwise(course)):
        raise SettingsError(f"{path}: the hours do not rise.", "Sort the rows by hour.")
    return course


def _row(path: Path, number: int, row: dict[str, str]) -> tuple[float, float]:
    try:
        return float(row["hour"]), _sane(float(row["garage_c"]))
    except (KeyError, TypeError, ValueError) as error:
        raise SettingsError(f"{path}, line {number}: not an hour and °C.", _HOW) from error


def _sane(value_c: float) -> float:
    if not CELSIUS_MIN <= value_c <= CELSIUS_MAX:
        raise SettingsError(
            f"{value_c:g} °C is no temperature of a garage.",
            f"Give °C between {CELSIUS_MIN:g} and {CELSIUS_MAX:g}.",
        )
    return value_c
