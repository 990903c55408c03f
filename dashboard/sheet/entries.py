"""The two forms of the page: a batch, and a gravity reading.

Each function reads what was typed into a fact that can be kept, or says beside each field what is
in the way. Gravities are checked here against the batch and the reading before; the formulas and
the likely slips are `fermentation.gravity`'s. Stores nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from controller.errors import BarmkeepError
from dashboard.facts import Batch, GravityReading
from dashboard.fermentation.attenuation import (
    check_expected,
    check_original,
    doubts,
    expected_final_sg,
)
from dashboard.fermentation.gravity import entry_doubts, sg_of_reading
from dashboard.fermentation.strains import Strain
from dashboard.sheet import words
from dashboard.sheet.forms import (
    FUTURE_S_MAX,
    PITCH_AHEAD_S_MAX,
    Filled,
    Reader,
    gravity_value,
    temperatures,
    unit_of,
)
from dashboard.sheet.units import Units

VOLUME_L_MIN = 0.1  # Why: a jar for a trial is the least anybody ferments.
VOLUME_L_MAX = 2000.0  # Why: a thousand and more is a brewery's, and mostly a slip for millilitres.
COLD_SAMPLE_C = 10.0  # Why: no ferment here is that cold; “35” in °F is, and meant °C.
BEFORE_PITCH_S_MAX = 86_400.0  # Why: the original gravity may be read on brew day's morning.


def gravity_entry(
    typed: Mapping[str, str],
    batch: Batch,
    earlier: Sequence[GravityReading],
    now_utc_s: float,
    units: Units,
) -> Filled[GravityReading]:
    """A gravity reading of this batch; `earlier` are the ones it already has."""
    reader = Reader(typed, units)
    unit = unit_of(reader)
    sample_c, calibrated_c = temperatures(reader)
    are_clear = not {"sample", "calibrated"} & reader.errors.keys()
    corrected_sg = (
        gravity_value(reader, "entered", unit, sample_c, calibrated_c, batch.original_sg)
        if are_clear
        else gravity_value(reader, "entered", unit)
    )
    taken_utc_s = reader.moment(
        "taken", now_utc_s + FUTURE_S_MAX, "That is in the future. Look at the date and the time."
    )
    if taken_utc_s < batch.pitched_utc_s - BEFORE_PITCH_S_MAX:
        reader.errors["taken"] = "That is more than a day before this batch was pitched."
    if reader.errors:
        return Filled(reader.typed, errors=reader.errors)
    entered = reader.number("entered", "1.048")
    reading = GravityReading(0, batch.id, taken_utc_s, entered, unit, sample_c, calibrated_c)
    before_sg = _sg_before(batch, earlier, taken_utc_s)
    odd = (
        *_repeats(reading, earlier),
        *map(reader.units.reworded, entry_doubts(entered, unit, sample_c)),
        *_cold_doubts(reader.units, sample_c),
        *map(reader.units.reweighed, doubts(corrected_sg, batch.original_sg, before_sg)),
    )
    if odd and typed.get("sure") != "yes":
        return Filled(reader.typed, doubts=odd)
    return Filled(reader.typed, value=reading)


def _cold_doubts(units: Units, sample_c: float) -> tuple[str, ...]:
    """Who reads in °F and types a figure in °C gets a very cold sample."""
    if not units.is_fahrenheit or sample_c >= COLD_SAMPLE_C:
        return ()
    shown = words.typed(units.degrees(sample_c))
    meant = words.typed(units.degrees(float(shown)))
    return (f"{shown} °F is colder than any ferment. If {shown} °C is meant, type {meant}.",)


def _sg_before(batch: Batch, earlier: Sequence[GravityReading], taken_utc_s: float) -> float | None:
    before = [each for each in earlier if each.taken_utc_s < taken_utc_s]
    if not before:
        return None
    last = max(before, key=lambda each: each.taken_utc_s)
    try:
        return sg_of_reading(
            last.entered, last.unit, last.sample_c, last.calibrated_c, batch.original_sg
        )
    except BarmkeepError:
        return None


def _repeats(reading: GravityReading, earlier: Sequence[GravityReading]) -> tuple[str, ...]:
    """A button pressed twice must not make two readings of one."""
    for each in earlier:
        same = (each.entered, each.unit, each.taken_utc_s)
        if same == (reading.entered, reading.unit, reading.taken_utc_s):
            return ("This reading is already in the table.",)
    return ()


def batch_entry(
    typed: Mapping[str, str],
    chamber: str,
    strains: Sequence[Strain],
    now_utc_s: float,
    units: Units,
) -> Filled[Batch]:
    """A new batch for this chamber."""
    reader = Reader(typed, units)
    unit = unit_of(reader)
    name = reader.text("name", "a name for this batch")
    pitched_utc_s = reader.moment(
        "pitched", now_utc_s + PITCH_AHEAD_S_MAX, "That is more than a week ahead."
    )
    volume_l = _volume_l(reader)
    strain = next((each for each in strains if each.slug == typed.get("strain")), None)
    if strain is None:
        reader.errors["strain"] = "Choose a kind of yeast from the list."
    original_sg = gravity_value(reader, "original", unit)
    reader.tried("original", lambda: check_original(original_sg))
    if typed.get("expected", "").strip():
        expected_sg = gravity_value(reader, "expected", unit)
        if "original" not in reader.errors:
            reader.tried("expected", lambda: check_expected(original_sg, expected_sg))
    else:
        expected_sg = _suggested_sg(reader, original_sg, strain)
    if reader.errors or strain is None:
        return Filled(reader.typed, errors=reader.errors)
    batch = Batch(0, chamber, name, pitched_utc_s, original_sg, expected_sg, volume_l, strain.slug)
    return Filled(reader.typed, value=batch)


def _volume_l(reader: Reader) -> float:
    units = reader.units
    volume_l = units.litres(reader.number("volume", words.typed(units.volume_shown(20.0))))
    if "volume" not in reader.errors and not VOLUME_L_MIN <= volume_l <= VOLUME_L_MAX:
        low, high = (f"{units.volume_shown(each):.2g}" for each in (VOLUME_L_MIN, VOLUME_L_MAX))
        reader.errors["volume"] = (
            f"Type the {units.volume_name} of beer, from {low} to {float(high):g}."
        )
    return volume_l


def _suggested_sg(reader: Reader, original_sg: float, strain: Strain | None) -> float:
    """The expected final gravity at the middle of what the strain does; NaN when not known yet."""
    if strain is None or "original" in reader.errors:
        return math.nan
    return expected_final_sg(original_sg, strain.attenuation_usual)


def suggestion(strain: Strain) -> str:
    """What a kind of yeast usually does, for the list it is chosen from."""
    low, high = words.percent(strain.attenuation_low), words.percent(strain.attenuation_high)
    return f"{low} to {high} apparent attenuation"
