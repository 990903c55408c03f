"""What programs may read: chambers, ticks, events, batches and what was written of them.

Each function answers one operation. What a value means is decided elsewhere; here facts become
plain objects.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from starlette.responses import Response

from controller.wire import Event, Tick, encode
from dashboard import series
from dashboard.api.operations import Asked, answered
from dashboard.api.problems import RequestError
from dashboard.facts import Batch, GravityReading, Note
from dashboard.fermentation.attenuation import attenuation, share_of_drop
from dashboard.fermentation.gravity import GravityError, sg_of_reading
from dashboard.live import LiveHub
from dashboard.sheet.seen import Seen
from dashboard.store import Store
from dashboard.web import look

ENVELOPE = ("v", "is")  # Why: an interface has its own version, and says its kinds by its paths.
DAY_S = 86_400.0  # Source: SI brochure, table 8: 1 d = 86 400 s.


@dataclass(frozen=True, slots=True)
class Reading:
    """Where the answers come from. `clock` gives UTC seconds."""

    store: Store
    hub: LiveHub
    clock: Callable[[], float]

    def chambers(self, asked: Asked) -> Response:
        """Every chamber as it is known now."""
        found = look.every_chamber(self.store, self.hub, self.clock())
        return answered({"chambers": [chamber_of(each) for each in found]})

    def chamber(self, asked: Asked) -> Response:
        """One of them."""
        return answered(chamber_of(self.seen(asked["chamber"])))

    def curve(self, asked: Asked) -> Response:
        """A window of history, thinned; by default the last day."""
        from_utc_s, to_utc_s = self._window(asked)
        curve = series.window(
            self.store, asked["chamber"], from_utc_s, to_utc_s, int(asked["points"])
        )
        buckets = [asdict(bucket) for bucket in curve.buckets]
        return answered({"bucket_s": curve.bucket_s, "buckets": buckets})

    def ticks(self, asked: Asked) -> Response:
        """A page of the ticks themselves, oldest first."""
        from_utc_s, to_utc_s = self._window(asked)
        limit = int(asked["limit"])
        found = self.store.ticks(asked["chamber"], from_utc_s, to_utc_s, limit + 1)
        more = found[limit].utc_s if len(found) > limit else None
        return answered({"ticks": [message_of(tick) for tick in found[:limit]], "next_utc_s": more})

    def events(self, asked: Asked) -> Response:
        """The newest events of a window, oldest first; by default of the last day."""
        from_utc_s, to_utc_s = self._window(asked)
        found = self.store.events(asked["chamber"], from_utc_s, to_utc_s, int(asked["limit"]))
        return answered({"events": [message_of(event) for event in found]})

    def batches(self, asked: Asked) -> Response:
        """A chamber's batches, the newest first."""
        self.seen(asked["chamber"])
        found = self.store.batches(asked["chamber"])
        return answered({"batches": [asdict(batch) for batch in found]})

    def batch(self, asked: Asked) -> Response:
        """One batch."""
        return answered(asdict(self.batch_of(asked["batch"])))

    def gravities(self, asked: Asked) -> Response:
        """A batch's gravity readings, in the order they were taken."""
        batch = self.batch_of(asked["batch"])
        found = self.store.gravities(batch.id)
        return answered({"gravities": [gravity_of(batch, each) for each in found]})

    def notes(self, asked: Asked) -> Response:
        """A batch's notes."""
        batch = self.batch_of(asked["batch"])
        return answered({"notes": [note_of(each) for each in self.store.notes(batch.id)]})

    def seen(self, chamber: str) -> Seen:
        """Raises:
        RequestError: there is no such chamber.
        """
        found = look.seen(self.store, self.hub, chamber, self.clock())
        if found is None:
            raise RequestError(404, f"There is no chamber {chamber}.")
        return found

    def batch_of(self, batch_id: int) -> Batch:
        """Raises:
        RequestError: there is no such batch.
        """
        found = self.store.batch(batch_id)
        if found is None:
            raise RequestError(404, f"There is no batch {batch_id}.")
        return found

    def _window(self, asked: Asked) -> tuple[float, float]:
        now_utc_s = self.seen(asked["chamber"]).now_utc_s
        to_utc_s = now_utc_s + 1 if asked["to_utc_s"] is None else asked["to_utc_s"]
        from_utc_s = to_utc_s - DAY_S if asked["from_utc_s"] is None else asked["from_utc_s"]
        if to_utc_s - from_utc_s < 1:
            raise RequestError(400, "The window from from_utc_s to to_utc_s is under one second.")
        return from_utc_s, to_utc_s


def chamber_of(seen: Seen) -> dict[str, Any]:
    """A chamber as an object."""
    return {
        "name": seen.chamber,
        "is_live": seen.is_live,
        "is_silent": seen.is_silent,
        "heard_utc_s": seen.heard_utc_s,
        "on_target_since_utc_s": seen.on_target_since_utc_s,
        "presence": None if seen.presence is None else seen.presence.state,
        "tick": None if seen.tick is None else message_of(seen.tick),
        "batch": None if seen.batch is None else asdict(seen.batch),
    }


def text_of(message: Tick | Event) -> str:
    """A tick or an event as JSON: its wire line without its envelope, which stands first."""
    return "{" + encode(message).split(",", len(ENVELOPE))[-1]


def message_of(message: Tick | Event) -> dict[str, Any]:
    """The same as an object."""
    found: dict[str, Any] = json.loads(text_of(message))
    return found


def gravity_of(batch: Batch, reading: GravityReading) -> dict[str, Any]:
    """A reading as an object, with what it says of the beer."""
    found: dict[str, Any] = {
        "id": reading.id,
        "batch": reading.batch_id,
        "taken_utc_s": reading.taken_utc_s,
        "entered": reading.entered,
        "unit": reading.unit.value,
        "sample_c": reading.sample_c,
        "calibrated_c": reading.calibrated_c,
        "note": reading.note,
        "corrected_sg": None,
    }
    try:
        sg = sg_of_reading(
            reading.entered,
            reading.unit,
            reading.sample_c,
            reading.calibrated_c,
            batch.original_sg,
        )
        said = attenuation(batch.original_sg, sg)
        share = share_of_drop(batch.original_sg, sg, batch.expected_final_sg)
    except GravityError:
        return found
    return found | {
        "corrected_sg": round(sg, 5),
        "apparent_attenuation": round(said.apparent, 4),
        "real_attenuation": round(said.real, 4),
        "alcohol_by_volume": round(said.alcohol_by_volume, 5),
        "share_of_expected_drop": round(share, 4),
    }


def note_of(note: Note) -> dict[str, Any]:
    """A note as an object."""
    return {
        "id": note.id,
        "batch": note.batch_id,
        "at_utc_s": note.at_utc_s,
        "kind": note.kind.value,
        "text": note.text,
    }
