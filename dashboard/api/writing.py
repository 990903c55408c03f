"""What programs may write: gravity readings. Nothing written is lost; the notebook keeps what was.

A reading that cannot be meant is refused with what probably was (422); an unlikely one is asked
about (409) and kept when the program says that it is sure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from starlette.responses import Response

from dashboard import measured
from dashboard.access.roles import visitor
from dashboard.api.operations import Asked, answered
from dashboard.api.problems import RequestError
from dashboard.api.reading import Reading, gravity_of
from dashboard.errors import EntryError
from dashboard.facts import Batch, By, GravityReading
from dashboard.fermentation.attenuation import doubts
from dashboard.fermentation.gravity import entry_doubts, sg_of_reading


@dataclass(frozen=True, slots=True)
class Writing:
    """Answers the operations that change something."""

    reading: Reading
    calibrated_c: float

    def add(self, asked: Asked) -> Response:
        """POST: a reading of this batch, as a person types it."""
        batch = self.reading.batch_of(asked["batch"])
        found = self._checked(batch, {"calibrated_c": self.calibrated_c, "note": "", **asked.body})
        kept = self.reading.store.add_gravity(found, self._by())
        where = f"/api/v1/batches/{batch.id}/gravities/{kept.id}"
        return answered(gravity_of(batch, kept), 201, {"location": where})

    def change(self, asked: Asked) -> Response:
        """PATCH: a correction; what is not given stays as it was."""
        batch, old = self._found(asked)
        before = {
            "taken_utc_s": old.taken_utc_s,
            "entered": old.entered,
            "unit": old.unit.value,
            "sample_c": old.sample_c,
            "calibrated_c": old.calibrated_c,
            "note": old.note,
        }
        found = replace(self._checked(batch, {**before, **asked.body}, old.id), id=old.id)
        self.reading.store.change_gravity(found, self._by())
        return answered(gravity_of(batch, found))

    def strike(self, asked: Asked) -> Response:
        """DELETE: struck out, and kept in the history."""
        _, old = self._found(asked)
        self.reading.store.strike_gravity(old.id, self._by())
        return Response(status_code=204)

    def measured(self, asked: Asked) -> Response:
        """POST: what a device measured of the batch in this chamber."""
        chamber = asked["chamber"]
        self.reading.seen(chamber)
        store, now_utc_s = self.reading.store, self.reading.clock()
        batch = store.current_batch(chamber)
        if batch is None:
            raise RequestError(
                409, f"No batch is in {chamber}.", "Enter the batch on the chamber's page first."
            )
        kept = measured.take(store, chamber, asked.body, visitor().name, now_utc_s)
        return answered(gravity_of(batch, kept.reading), 201 if kept.is_new else 200)

    def _found(self, asked: Asked) -> tuple[Batch, GravityReading]:
        batch = self.reading.batch_of(asked["batch"])
        for each in self.reading.store.gravities(batch.id):
            if each.id == asked["reading"]:
                return batch, each
        raise RequestError(404, f"Batch {batch.id} has no reading {asked['reading']}.")

    def _checked(
        self, batch: Batch, given: Mapping[str, Any], own_id: int | None = None
    ) -> GravityReading:
        found = measured.reading_of(batch, given, self.reading.clock())
        sg = sg_of_reading(
            found.entered, found.unit, found.sample_c, found.calibrated_c, batch.original_sg
        )
        earlier = [
            each
            for each in self.reading.store.gravities(batch.id)
            if each.taken_utc_s <= found.taken_utc_s and each.id != own_id
        ]
        odd = (
            *entry_doubts(found.entered, found.unit, found.sample_c),
            *doubts(sg, batch.original_sg, _newest_sg(batch, earlier)),
        )
        if odd and given.get("sure") is not True:
            raise RequestError(
                409, "That is unlikely.", "Send it again with sure: true if it is right.", odd
            )
        return found

    def _by(self) -> By:
        return By(visitor().name, self.reading.clock())


def _newest_sg(batch: Batch, earlier: list[GravityReading]) -> float | None:
    for each in reversed(earlier):
        try:
            return sg_of_reading(
                each.entered, each.unit, each.sample_c, each.calibrated_c, batch.original_sg
            )
        except EntryError:
            continue
    return None
