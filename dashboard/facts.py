"""What the dashboard keeps: the raw facts, as they were typed or heard. Values only.

Everything else (corrected gravity, attenuation, forecasts) is derived from these on request.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
