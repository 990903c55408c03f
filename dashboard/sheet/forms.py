"""What a person typed into a form: read strictly, answered beside the field, never lost.

A form is read into `Filled`: the texts exactly as typed (so that the page can show them again), a
message for each field that cannot be meant, and the value when there is none. A possible but
unlikely value is asked about once (`doubts`) and kept when the person says so. Stores nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Generic, TypeVar

from controller.errors import BarmkeepError
from dashboard.facts import GravityUnit
from dashboard.fermentation.gravity import check_temperatures, sg_of_reading
from dashboard.sheet import words
from dashboard.sheet.units import Units

TEXT_CHARACTERS_MAX = 80  # Why: a name or a note has to fit on a line of the sheet.
TYPED_CHARACTERS_MAX = 2000  # Why: as long as the longest note that is kept.
FUTURE_S_MAX = 600.0  # Why: a phone's clock and the machine's differ by minutes at most.
PITCH_AHEAD_S_MAX = 7 * 86_400.0  # Why: a batch may be entered on brew day, not a month before.

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Filled(Generic[Value]):
    """A form as it came: `value` is None when `errors` or unanswered `doubts` stand in its way."""

    typed: Mapping[str, str]
    value: Value | None = None
    errors: Mapping[str, str] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()


class Reader:
    """Reads one form's fields, collecting a message for each that cannot be meant.

    `units` are those in which the form was made.
    """

    def __init__(self, typed: Mapping[str, str], units: Units) -> None:
        self.typed = {name: str(text)[:TYPED_CHARACTERS_MAX] for name, text in typed.items()}
        self.errors: dict[str, str] = {}
        self.units = units

    def text(self, name: str, what: str) -> str:
        """A text of one line; the message asks for `what`."""
        text = " ".join(self.typed.get(name, "").split())
        if not text:
            self.errors[name] = f"Type {what}."
        elif len(text) > TEXT_CHARACTERS_MAX:
            self.errors[name] = f"Keep it within {TEXT_CHARACTERS_MAX} characters."
        return text

    def number(self, name: str, example: str) -> float:
        """A finite number; a decimal comma is taken as a point. NaN when it is none."""
        text = self.typed.get(name, "").strip().replace("\u2212", "-")
        if not text:
            self.errors[name] = f"Type a number, like {example}."
            return math.nan
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or "_" in text:
            self.errors[name] = f"“{text[:20]}” is not a number. Type it like {example}."
            return math.nan
        return value

    def moment(self, name: str, latest_utc_s: float, too_late: str) -> float:
        """A local date and time as UTC seconds.

        A time that comes twice, when the clocks go back, is the later of the two unless that is
        past `latest_utc_s`. One that the clocks skip is refused.
        """
        text = self.typed.get(name, "").strip()
        try:
            naive = datetime.fromisoformat(text)
        except ValueError:
            self.errors[name] = "Type a date and a time, like 2026-01-31 14:20."
            return math.nan
        if naive.year < 2000:  # Before time zones are asked, which know no year 1.
            self.errors[name] = "That is before this century. Look at the year."
            return math.nan
        utc_s = self._utc_s(naive, latest_utc_s)
        if utc_s is None:
            self.errors[name] = "The clocks went forward then; that time was skipped."
            return math.nan
        if utc_s > latest_utc_s:
            self.errors[name] = too_late
        return utc_s

    def celsius(self, name: str, example_c: float) -> float:
        """A temperature in the reader's unit as °C. NaN when it is none."""
        return self.units.celsius(self.number(name, words.typed(self.units.degrees(example_c))))

    def tried(self, name: str, check: Callable[[], Value]) -> Value | None:
        """The outcome of a check; its complaint becomes the field's message.

        Only called for a field that could be read, so that one slip gives one message.
        """
        if name in self.errors:
            return None
        try:
            return check()
        except BarmkeepError as error:
            self.errors[name] = self.units.reworded(str(error))
            return None

    def _utc_s(self, naive: datetime, latest_utc_s: float) -> float | None:
        """None for a time that never was."""
        if naive.tzinfo is not None:
            return naive.timestamp()
        zone = self.units.zone
        both = {naive.replace(tzinfo=zone, fold=fold).timestamp() for fold in (0, 1)}
        real = sorted(
            each for each in both if words.local(each, zone).replace(tzinfo=None, fold=0) == naive
        )
        if not real:
            return None
        return max((each for each in real if each <= latest_utc_s), default=real[0])


def gravity_value(
    reader: Reader,
    name: str,
    unit: GravityUnit,
    sample_c: float = 20.0,
    calibrated_c: float = 20.0,
    original_sg: float | None = None,
) -> float:
    """A gravity field as corrected SG; NaN when it cannot be meant."""
    entered = reader.number(name, "1.048" if unit is GravityUnit.SG else "12.0")
    corrected_sg = reader.tried(
        name, lambda: sg_of_reading(entered, unit, sample_c, calibrated_c, original_sg)
    )
    return math.nan if corrected_sg is None else corrected_sg


def unit_of(reader: Reader, name: str = "unit") -> GravityUnit:
    """The scale that was chosen; SG when none was."""
    try:
        return GravityUnit(reader.typed.get(name, GravityUnit.SG.value))
    except ValueError:
        reader.errors[name] = "Choose SG or °P."
        return GravityUnit.SG


def temperatures(reader: Reader) -> tuple[float, float]:
    """The sample's and the hydrometer's own temperature in °C."""
    sample_c = reader.celsius("sample", 35.0)
    hydrometer_c = reader.celsius("calibrated", 20.0)
    reader.tried("sample", lambda: check_temperatures(sample_c, 20.0))
    reader.tried("calibrated", lambda: check_temperatures(20.0, hydrometer_c))
    return sample_c, hydrometer_c
