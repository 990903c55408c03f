"""The readings table: each gravity as typed, corrected, and what it says of the beer.

Everything in a row is derived from the raw reading and its batch each time a page is made; nothing
derived is stored. Refuses nothing: a reading that was kept is shown, if need be with its trouble in
words. The formulas are `fermentation`'s.
"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.facts import Batch, GravityReading, GravityUnit
from dashboard.fermentation.attenuation import attenuation, dry_hop_sg, share_of_drop
from dashboard.fermentation.gravity import GravityError, sg_of_reading
from dashboard.sheet import words
from dashboard.sheet.units import Units


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. Everything but the first three is None when `trouble` says why."""

    reading: GravityReading
    entered: str
    sample: str
    corrected_sg: float | None = None
    apparent: str | None = None
    real: str | None = None
    abv: str | None = None
    share: float | None = None
    trouble: str = ""


def rows(batch: Batch, taken: tuple[GravityReading, ...], units: Units) -> tuple[Row, ...]:
    """A row for each reading, oldest first."""
    return tuple(
        _row(batch, each, units) for each in sorted(taken, key=lambda each: each.taken_utc_s)
    )


def _row(batch: Batch, reading: GravityReading, units: Units) -> Row:
    entered, sample = entered_text(reading), words.temperature(reading.sample_c, units)
    try:
        sg = sg_of_reading(
            reading.entered,
            reading.unit,
            reading.sample_c,
            reading.calibrated_c,
            batch.original_sg,
        )
        found = attenuation(batch.original_sg, sg)
        share = share_of_drop(batch.original_sg, sg, batch.expected_final_sg)
    except GravityError as error:
        return Row(reading, entered, sample, trouble=units.reworded(str(error)))
    spread = max(found.abv_high - found.alcohol_by_volume, found.alcohol_by_volume - found.abv_low)
    return Row(
        reading,
        entered,
        sample,
        corrected_sg=sg,
        apparent=words.percent(found.apparent),
        real=words.percent(found.real),
        abv=f"{found.alcohol_by_volume * 100:.1f} ± {max(0.1, spread * 100):.1f}\u00a0%",
        share=share,
    )


def entered_text(reading: GravityReading) -> str:
    """The reading as it was typed, with its scale."""
    if reading.unit is GravityUnit.SG:
        return f"{reading.entered:.4f}".removesuffix("0") + " SG"
    return f"{reading.entered:g} °P"


def what_next(batch: Batch, table: tuple[Row, ...], units: Units) -> str:
    """Where the beer is on its way to the dry-hop point, as one or two sentences."""
    point_sg = dry_hop_sg(batch.original_sg, batch.expected_final_sg)
    read = [row for row in table if row.corrected_sg is not None and row.share is not None]
    point = words.gravity(point_sg, units)
    if not read or read[-1].corrected_sg is None or read[-1].share is None:
        return (
            f"Two thirds of the expected drop are done at {point}, the usual point for dry hops. "
            "Type a first gravity below to see how far it is."
        )
    now = words.gravity(read[-1].corrected_sg, units)
    done = words.percent(read[-1].share)
    if read[-1].corrected_sg > point_sg:
        return (
            f"At {now}, {done} of the expected drop is done. Dry hops usually go in at two "
            f"thirds: {point}."
        )
    return (
        f"At {now}, {done} of the expected drop is done: past two thirds ({point}), the usual "
        "point for dry hops."
    )
