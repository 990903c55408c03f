"""Gravities from devices and programs: what they may say, and which of it is kept.

One plain JSON object of our own, by HTTP or by MQTT. The impossible is refused in words; what is
only unlikely is kept from a device, because nobody is there to be asked, and a person can strike it
out. A device may speak as often as it likes: of its readings one in ten minutes is kept.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from controller.wire import CHAMBER_NAME
from dashboard.checked import problems
from dashboard.errors import EntryError
from dashboard.facts import Batch, By, GravityReading, GravityUnit
from dashboard.fermentation.attenuation import check_original
from dashboard.fermentation.gravity import (
    CALIBRATED_C_MAX,
    CALIBRATED_C_MIN,
    SAMPLE_C_MAX,
    SAMPLE_C_MIN,
    sg_of_reading,
)
from dashboard.store import Store

NEAR_S = 600.0  # Why: a ferment at its fastest drops half a point in ten minutes.
READINGS_MAX = 5000  # Why: a month of one in ten minutes; beyond it something is broken.
FUTURE_S_MAX = 600.0  # Why: a device's clock and the machine's differ by minutes at most.
BEFORE_PITCH_S_MAX = 86_400.0  # Why: the original gravity may be read on brew day's morning.
PAYLOAD_BYTES_MAX = 2048  # Why: the longest object below is under 400 bytes.
UTC_S_MAX = 1e11  # Why: the year 5138; a time in milliseconds is beyond it.
TOPIC = "barmkeep/{chamber}/gravity"
NAME = {"type": "string", "minLength": 1, "maxLength": 32, "pattern": r"^[A-Za-z0-9._-]+$"}

# The one place that says what a device may send; the interface's document shows it too.
MEASURED: Mapping[str, Any] = {
    "type": "object",
    "description": "One gravity as a device measured it.",
    "required": ["gravity"],
    "additionalProperties": False,
    "properties": {
        "gravity": {
            "type": "number",
            "minimum": -10,
            "maximum": 100,
            "description": "As measured, on the scale of `unit`.",
        },
        "unit": {"type": "string", "enum": [unit.value for unit in GravityUnit], "default": "sg"},
        "sample_c": {
            "type": "number",
            "minimum": SAMPLE_C_MIN,
            "maximum": SAMPLE_C_MAX,
            "description": "The beer's temperature at the device, °C. Leave it out when the device"
            " has corrected for it already.",
        },
        "calibrated_c": {
            "type": "number",
            "minimum": CALIBRATED_C_MIN,
            "maximum": CALIBRATED_C_MAX,
            "default": 20,
            "description": "The temperature the device is made for, °C.",
        },
        "taken_utc_s": {
            "type": "number",
            "minimum": 0,
            "maximum": UTC_S_MAX,
            "description": "When, in seconds of Unix time. Left out: now.",
        },
        "device": {**NAME, "description": "Its name, where no token says it."},
    },
}


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a measurement: the reading that stands, and whether it is a new one."""

    reading: GravityReading
    is_new: bool


def reading_of(batch: Batch, given: Mapping[str, Any], now_utc_s: float) -> GravityReading:
    """The reading of these fields, not yet kept. `given` has `entered`, `unit`, `sample_c`,
    `calibrated_c`, `taken_utc_s` and `note`.

    Raises:
        EntryError: it cannot be meant; it says what probably was.
    """
    taken_utc_s = given["taken_utc_s"]
    if taken_utc_s > now_utc_s + FUTURE_S_MAX:
        raise EntryError(
            f"It was taken in the future ({taken_utc_s:.0f}).", "Set the device's clock."
        )
    if taken_utc_s < batch.pitched_utc_s - BEFORE_PITCH_S_MAX:
        raise EntryError(
            "It was taken more than a day before this batch was pitched.",
            "Look at the time and at the batch.",
        )
    reading = GravityReading(
        0,
        batch.id,
        float(taken_utc_s),
        float(given["entered"]),
        GravityUnit(given["unit"]),
        float(given["sample_c"]),
        float(given["calibrated_c"]),
        given["note"],
    )
    check_original(batch.original_sg)
    sg_of_reading(
        reading.entered, reading.unit, reading.sample_c, reading.calibrated_c, batch.original_sg
    )
    return reading


def take(store: Store, chamber: str, given: Mapping[str, Any], who: str, now_utc_s: float) -> Kept:
    """Keep what a device measured of the batch in this chamber. `given` fits `MEASURED`.

    Raises:
        EntryError: there is no batch, the measurement cannot be meant, or there are too many.
    """
    batch = store.current_batch(chamber)
    if batch is None:
        raise EntryError(
            f"No batch is in {chamber[:40]!r}, so there is nothing it could belong to.",
            "Enter the batch on the chamber's page first.",
        )
    calibrated_c = given.get("calibrated_c", 20.0)
    reading = reading_of(
        batch,
        {
            "entered": given["gravity"],
            "unit": given.get("unit", GravityUnit.SG.value),
            "sample_c": given.get("sample_c", calibrated_c),
            "calibrated_c": calibrated_c,
            "taken_utc_s": given.get("taken_utc_s", now_utc_s),
            "note": f"measured by {who or given.get('device', 'a device')}",
        },
        now_utc_s,
    )
    earlier = store.gravities(batch.id)
    for each in earlier:
        if each.note == reading.note and abs(each.taken_utc_s - reading.taken_utc_s) < NEAR_S:
            return Kept(each, is_new=False)
    if len(earlier) >= READINGS_MAX:
        raise EntryError(
            f"This batch has {len(earlier)} readings already.", "Let the device speak less often."
        )
    by = By(reading.note.removeprefix("measured by "), now_utc_s)
    return Kept(store.add_gravity(reading, by), is_new=True)


def take_message(store: Store, heard_on: str, payload: bytes, now_utc_s: float) -> Kept:
    """Keep what came on the topic `barmkeep/<chamber>/gravity`.

    Raises:
        EntryError: as `take`, or it is not such an object.
    """
    chamber = heard_on.split("/")[1]
    if not CHAMBER_NAME.fullmatch(chamber) or len(payload) > PAYLOAD_BYTES_MAX:
        raise EntryError(f"What came on {heard_on[:80]} is no measurement.", "Check its sender.")
    try:
        given = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise EntryError(f"What came on {heard_on} is not JSON.", "Check its sender.") from error
    found = problems(MEASURED, given)
    if found:
        raise EntryError(f"What came on {heard_on}: {'; '.join(found)}.", "Check its sender.")
    return take(store, chamber, given, "", now_utc_s)


def is_measurement(heard_on: str) -> bool:
    """Whether devices speak on this topic."""
    return heard_on.count("/") == 2 and heard_on.endswith("/gravity")
