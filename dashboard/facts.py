"""What the dashboard keeps: the raw facts, as they were typed or heard. Values only.

Everything else (corrected gravity, attenuation, forecasts) is derived from these on request.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from controller.wire import Order, Reply


class GravityUnit(StrEnum):
    """The scale a gravity was read on."""

    SG = "sg"
    PLATO = "plato"


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch of beer in one chamber. `ended_utc_s` is None while it is still there."""

    id: int
    chamber: str
    name: str
    pitched_utc_s: float
    original_sg: float
    expected_final_sg: float
    volume_l: float
    strain: str
    ended_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class GravityReading:
    """One reading as the brewer typed it: on this scale, from a sample at this temperature.

    `calibrated_c` is the temperature the hydrometer is made for.
    """

    id: int
    batch_id: int
    taken_utc_s: float
    entered: float
    unit: GravityUnit
    sample_c: float
    calibrated_c: float = 20.0
    note: str = ""


@dataclass(frozen=True, slots=True)
class Bucket:
    """The ticks of one stretch of time, thinned. Temperatures in °C, None when there was no
    reading.

    `heat_share` and `fan_share` are the part of the time (0 to 1) they were on.
    """

    start_utc_s: float
    beer_low_c: float | None
    beer_mean_c: float | None
    beer_high_c: float | None
    garage_mean_c: float | None
    target_c: float | None
    heat_share: float
    fan_share: float


@dataclass(frozen=True, slots=True)
class Curve:
    """A window of a chamber's history for drawing. A stretch without ticks has no bucket."""

    chamber: str
    from_utc_s: float
    to_utc_s: float
    bucket_s: float
    buckets: tuple[Bucket, ...]


class NoteKind(StrEnum):
    """What an entry beside the gravities is about."""

    DRY_HOP_IN = "dry-hop-in"
    DRY_HOP_OUT = "dry-hop-out"
    PITCH = "pitch"
    OXYGEN = "oxygen"
    NUTRIENT = "nutrient"
    TASTING = "tasting"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Note:
    """Something done to a batch, or seen or tasted of it, at this moment. Amounts are in `text`."""

    id: int
    batch_id: int
    at_utc_s: float
    kind: NoteKind
    text: str = ""


@dataclass(frozen=True, slots=True)
class By:
    """Who wrote something down, and when by the dashboard's clock. No name: nobody was asked."""

    who: str
    utc_s: float


class Did(StrEnum):
    """What was done to an entry."""

    WRITTEN = "written"
    CHANGED = "changed"
    STRUCK = "struck"
    UNDONE = "undone"  # the change before was taken back


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a batch's entries. `before` is None when the entry was not there before.

    `is_undone` says that a later change has taken it back.
    """

    id: int
    batch_id: int
    by: By
    did: Did
    before: Note | GravityReading | None
    now: Note | GravityReading
    is_undone: bool = False


@dataclass(frozen=True, slots=True)
class Given:
    """An order that was given to a chamber, and its answer; None while there is none."""

    order: Order
    reply: Reply | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """What a brewer means to do with a batch.

    Args:
        is_dry_hopped: whether hops are to go in.
        hop_limit_h: for how many hours at most, 1 to 720; three days is common practice.
        forced_sg: where a sample of the same wort ended when it was fermented warm and stirred;
            None: no such test was made.
    """

    is_dry_hopped: bool = True
    hop_limit_h: float = 72.0
    forced_sg: float | None = None


@dataclass(frozen=True, slots=True)
class TickedOff:
    """One thing that was to be done, by its name: `how` is done or skipped."""

    item: str
    how: str
    title: str
    by: By


@dataclass(frozen=True, slots=True)
class FermentHeat:
    """The ferment's own heat in the hour that begins then, as its controller made it out."""

    start_utc_s: float
    ferment_w: float
    sd_w: float
