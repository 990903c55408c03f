"""Record: the raw facts of a batch, turned into what its page, its agenda and its account need.

The one door for whoever loads the facts: corrected readings, warm hours past and planned, the
forecast, the verdict on the end, and the account. It loads nothing itself and keeps nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from controller.beerjson import Profile
from dashboard.facts import Batch, Bucket, GravityReading, Note
from dashboard.fermentation.account.account import Account, Told, account_of
from dashboard.fermentation.account.lived import Interruption, lived_hours
from dashboard.fermentation.advice.hops import additions, newest_hop_hour
from dashboard.fermentation.advice.items import HOP_LIMIT_H, BatchView, Settled
from dashboard.fermentation.course.forecast import forecast
from dashboard.fermentation.course.heat_balance import HeatEstimate, HeatStretch, heat_estimate
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.warmth import HOUR_S, clock_for, planned_points, warmth_of
from dashboard.fermentation.gravity import sg_of_reading
from dashboard.fermentation.strains import Strain
from dashboard.fermentation.terminal import terminal_verdict

HEAT_AFTER_H = 1.0  # Why: sooner after a reading the heat adds nothing to it.


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """The facts of one batch.

    Args:
        batch, strain: what it is.
        gravities, notes: as kept, those not struck.
        buckets: hourly, of its chamber, in order; at least from pitching to now.
        profile: the procedure that is run; None: the beer is taken to stay as warm as it is.
        heat: the ferment's own heat by its controller, in hours since pitching; may be empty.
        forced_sg: the end of a forced test, if one was made.
        is_dry_hopped, hop_limit_h: what the brewer means to do with hops.
        settled: what was ticked off on the agenda, by key.
    """

    batch: Batch
    strain: Strain
    gravities: Sequence[GravityReading]
    notes: Sequence[Note]
    buckets: Sequence[Bucket]
    profile: Profile | None = None
    heat: Sequence[HeatStretch] = ()
    forced_sg: float | None = None
    is_dry_hopped: bool = True
    hop_limit_h: float = HOP_LIMIT_H
    settled: Mapping[str, Settled] | None = None


def view_of(record: BatchRecord, now_utc_s: float) -> BatchView:
    """What is known and to be expected of the batch now; an ended one is judged at its end.

    Raises:
        GravityError: the original gravity, the expected final or a reading cannot be.
    """
    batch, strain = record.batch, record.strain
    now_utc_s = _judged_utc_s(batch, now_utc_s)
    now_h = (now_utc_s - batch.pitched_utc_s) / HOUR_S
    readings = corrected_readings(batch, record.gravities)
    planned = () if record.profile is None else planned_points(record.profile)
    warmth = warmth_of(
        record.buckets, batch.pitched_utc_s, now_utc_s, planned, strain.expected.usual_c
    )
    heat = _heat(record, readings, now_h)
    counted = list(readings)
    if heat is not None and heat.why_not is None:
        counted.append(heat.as_reading())
    hops = additions(record.notes, record.hop_limit_h)
    return BatchView(
        batch=batch,
        strain=strain,
        readings=readings,
        forecast=forecast(
            strain,
            batch.original_sg,
            counted,
            clock_for(strain, warmth),
            now_h,
            batch.expected_final_sg,
        ),
        verdict=terminal_verdict(
            strain,
            batch.original_sg,
            readings,
            warmth,
            record.forced_sg,
            newest_hop_hour(hops, batch.pitched_utc_s),
        ),
        profile=record.profile,
        hops=hops,
        is_dry_hopped=record.is_dry_hopped,
        hop_limit_h=record.hop_limit_h,
        settled=record.settled,
        heat=heat,
    )


def account_from(
    record: BatchRecord, now_utc_s: float, interruptions: Sequence[Interruption] = ()
) -> Account | None:
    """Why the batch took as long as it did; None while nothing has been measured.

    Raises:
        GravityError: as for `view_of`.
    """
    batch = record.batch
    now_utc_s = _judged_utc_s(batch, now_utc_s)
    hours = lived_hours(record.buckets, batch.pitched_utc_s, now_utc_s, interruptions)
    if not hours:
        return None
    hops = additions(record.notes, record.hop_limit_h)
    told = Told(
        original_sg=batch.original_sg,
        readings=corrected_readings(batch, record.gravities),
        expected_final_sg=batch.expected_final_sg,
        forced_sg=record.forced_sg,
        hopped_hour=newest_hop_hour(hops, batch.pitched_utc_s),
    )
    return account_of(record.strain, told, hours)


def corrected_readings(batch: Batch, gravities: Sequence[GravityReading]) -> tuple[Reading, ...]:
    """The readings as SG 20/20 at hours since pitching, in order; those before it are left out.

    Raises:
        GravityError: one cannot be.
    """
    found = []
    for each in gravities:
        hour = (each.taken_utc_s - batch.pitched_utc_s) / HOUR_S
        sg = sg_of_reading(
            each.entered, each.unit, each.sample_c, each.calibrated_c, batch.original_sg
        )
        if hour >= 0.0:
            found.append(Reading(hour, sg))
    return tuple(sorted(found, key=lambda reading: reading.hour))


def _judged_utc_s(batch: Batch, now_utc_s: float) -> float:
    ended_utc_s = now_utc_s if batch.ended_utc_s is None else batch.ended_utc_s
    return max(batch.pitched_utc_s, min(now_utc_s, ended_utc_s))


def _heat(record: BatchRecord, readings: Sequence[Reading], now_h: float) -> HeatEstimate | None:
    """The gravity by heat, where there is heat and the newest reading is not fresh."""
    last_h = readings[-1].hour if readings else 0.0
    if not record.heat or now_h - last_h < HEAT_AFTER_H:
        return None
    batch = record.batch
    return heat_estimate(batch.original_sg, batch.volume_l, readings, record.heat, now_h)
