"""The table of operations: everything the interface can be asked, in one place."""

from __future__ import annotations

from starlette.responses import Response

from dashboard.access.roles import Role
from dashboard.api.document import document
from dashboard.api.export import ZIP, Export
from dashboard.api.operations import JSON, ROOT, Asked, Operation, Parameter, answered
from dashboard.api.reading import Reading
from dashboard.api.shapes import CHAMBER, ID, MOMENT, Shape
from dashboard.api.writing import Writing
from dashboard.series import BUCKETS_MAX
from dashboard.store import EVENTS_MAX

PAGE_MAX = 5000  # Why: some five megabytes; the answer says where to go on.
CHAMBERS = f"{ROOT}/chambers"
BATCHES = f"{ROOT}/batches"
_, LOOKER, CHANGER = Role


def _count(least: int, most: int, usual: int) -> Shape:
    return {"type": "integer", "minimum": least, "maximum": most, "default": usual}


OF_CHAMBER = Parameter("chamber", CHAMBER, "The chamber's name.", is_in_path=True)
OF_BATCH = Parameter("batch", ID, "The batch's number.", is_in_path=True)
OF_READING = Parameter("reading", ID, "The reading's number.", is_in_path=True)
FROM = Parameter("from_utc_s", MOMENT, "The window's begin; left out: a day before its end.")
TO = Parameter("to_utc_s", MOMENT, "The window's end, not included; left out: the newest tick.")
POINTS = Parameter("points", _count(2, BUCKETS_MAX, 500), "At most so many buckets.")
TICKS = Parameter("limit", _count(1, PAGE_MAX, 1000), "At most so many ticks, the oldest first.")
EVENTS = Parameter("limit", _count(1, EVENTS_MAX, 200), "At most so many, the newest of them.")


def operations(reading: Reading, writing: Writing, export: Export) -> tuple[Operation, ...]:
    """Every operation, the document itself among them."""
    rows = [*_to_read(reading), *_to_write(writing), *_to_take_away(export)]

    def own(_: Asked) -> Response:
        return answered(document(rows))

    about = Operation("getDocument", "GET", f"{ROOT}/openapi.json", Role.ANYBODY,
                      "This document.", own, answers=((200, JSON),))  # fmt: skip
    rows.append(about)
    return tuple(rows)


def _to_read(reading: Reading) -> tuple[Operation, ...]:
    one = (OF_CHAMBER,)
    window = (OF_CHAMBER, FROM, TO)
    return (
        Operation("listChambers", "GET", CHAMBERS, LOOKER, "Every chamber as it is known now.",
                  reading.chambers, answers=((200, "Chambers"),)),
        Operation("getChamber", "GET", f"{CHAMBERS}/{{chamber}}", LOOKER,
                  "One chamber as it is known now.", reading.chamber, one,
                  answers=((200, "Chamber"),)),
        Operation("getCurve", "GET", f"{CHAMBERS}/{{chamber}}/curve", LOOKER,
                  "A window of history, thinned: each bucket keeps its least and greatest.",
                  reading.curve, (*window, POINTS), answers=((200, "Curve"),), refusals=(422,)),
        Operation("listTicks", "GET", f"{CHAMBERS}/{{chamber}}/ticks", LOOKER,
                  "The ticks themselves; `next_utc_s` is where the next page begins.",
                  reading.ticks, (*window, TICKS), answers=((200, "Ticks"),)),
        Operation("listEvents", "GET", f"{CHAMBERS}/{{chamber}}/events", LOOKER,
                  "What changed in a window.", reading.events, (*window, EVENTS),
                  answers=((200, "Events"),)),
        Operation("listBatches", "GET", f"{CHAMBERS}/{{chamber}}/batches", LOOKER,
                  "A chamber's batches, the newest first.", reading.batches, one,
                  answers=((200, "Batches"),)),
        Operation("getBatch", "GET", f"{BATCHES}/{{batch}}", LOOKER, "One batch.",
                  reading.batch, (OF_BATCH,), answers=((200, "Batch"),)),
        Operation("listGravities", "GET", f"{BATCHES}/{{batch}}/gravities", LOOKER,
                  "A batch's readings and what they say of the beer.", reading.gravities,
                  (OF_BATCH,), answers=((200, "Gravities"),)),
        Operation("listNotes", "GET", f"{BATCHES}/{{batch}}/notes", LOOKER, "A batch's notes.",
                  reading.notes, (OF_BATCH,), answers=((200, "Notes"),)),
    )  # fmt: skip


def _to_write(writing: Writing) -> tuple[Operation, ...]:
    return (
        Operation("sendMeasurement", "POST", f"{CHAMBERS}/{{chamber}}/gravity", CHANGER,
                  "A gravity from a device, for the batch that is in the chamber. One in ten"
                  " minutes is kept; 200 gives the one that stands for it.",
                  writing.measured, (OF_CHAMBER,), "Measured",
                  ((201, "Gravity"), (200, "Gravity")), (409,)),
        Operation("addGravity", "POST", f"{BATCHES}/{{batch}}/gravities", CHANGER,
                  "Write down a reading.", writing.add, (OF_BATCH,), "NewGravity",
                  ((201, "Gravity"),), (409,)),
        Operation("changeGravity", "PATCH", f"{BATCHES}/{{batch}}/gravities/{{reading}}", CHANGER,
                  "Correct a reading; what it was is kept.", writing.change,
                  (OF_BATCH, OF_READING), "ChangedGravity", ((200, "Gravity"),), (409,)),
        Operation("strikeGravity", "DELETE", f"{BATCHES}/{{batch}}/gravities/{{reading}}", CHANGER,
                  "Strike a reading out; it stays in the history.", writing.strike,
                  (OF_BATCH, OF_READING), answers=((204, ""),), refusals=(422,)),
    )  # fmt: skip


def _to_take_away(export: Export) -> tuple[Operation, ...]:
    return (
        Operation("exportJson", "GET", f"{ROOT}/export.json", LOOKER,
                  "Everything that is kept, as one document, streamed.", export.document,
                  answers=((200, "Everything"),)),
        Operation("exportCsv", "GET", f"{ROOT}/export.zip", LOOKER,
                  "Everything that is kept, as CSV files in one archive, streamed.",
                  export.archive, answers=((200, ZIP),)),
    )  # fmt: skip
