"""The demo's brewer: notes the batch, types in readings and puts the hops in, as a person would.

The simulated garage writes the truth into a file, a line an hour. From a few of those lines this
makes what a person would type: what a hydrometer shows in the hot sample, to half a point, with the
sample's temperature. The dashboard is told nothing else of the truth.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from dashboard.facts import Batch, GravityReading, GravityUnit, Note, NoteKind, Plan
from dashboard.fermentation.attenuation import dry_hop_sg
from dashboard.fermentation.gravity import corrected_sg, sg_from_plato
from dashboard.store import Store

# Why: how often an attentive brewer looks at a hot ferment that is over within three days.
READING_HOURS = (6.0, 16.0, 26.0, 38.0, 52.0, 76.0, 100.0, 124.0)
HOP_LIMIT_H = 66.0  # Why: this brewer's choice: an evening short of three days.
HOP_WORDS = "60 g, whole, in a bag with a weight"
PITCH_WORDS = "A spoonful of slurry, half an hour after the wort was at 30 °C"
HYDROMETER_C = 20.0  # Why: the usual calibration.
TYPED_STEP_SG = 0.0005  # Why: half a division, as finely as anybody reads a hydrometer.
SAMPLE_STEP_C = 0.5  # Why: as finely as anybody types a thermometer.
HOUR_S = 3600.0  # Why: seconds in an hour.


@dataclass(frozen=True, slots=True)
class Recipe:
    """What the brewer knew on brewing day: the project's own invented batch. `night_words` is what
    was found on the morning, `night_h` hours after pitching; empty: nothing.
    """

    name: str = "Winter one"
    original_sg: float = 1.0505
    expected_final_sg: float = 1.011
    volume_l: float = 20.0
    strain: str = "kveik"
    night_words: str = ""
    night_h: float = 0.0


class Brewer:
    """Follows the truth file and types. `look` is to be called now and then."""

    def __init__(self, store: Store, chamber: str, recipe: Recipe, truth: Path) -> None:
        self._store = store
        self._chamber = chamber
        self._recipe = recipe
        self._truth = truth
        self._read_bytes = 0
        self._batch: Batch | None = None
        self._hours = list(READING_HOURS)
        self._has_hops = False
        self._has_seen_night = not recipe.night_words

    def look(self) -> None:
        """Take in what the truth file has gained, and type what is due.

        Raises:
            DiskError: the store cannot be written.
        """
        for line in self._new_lines():
            truth = json.loads(line)
            utc_s, beer_c = float(truth["utc_s"]), float(truth["beer_c"])
            batch = self._batch or self._noted(utc_s)
            self._found_in_the_morning(batch, utc_s)
            due = [hour for hour in self._hours if utc_s - batch.pitched_utc_s >= hour * HOUR_S]
            if due:
                self._hours = [hour for hour in self._hours if hour not in due]
                true_sg = sg_from_plato(float(truth["apparent_plato"]))
                self._store.add_gravity(typed(batch, utc_s, true_sg, beer_c))
                self._hop(batch, utc_s, true_sg)

    def _hop(self, batch: Batch, utc_s: float, now_sg: float) -> None:
        """The hops go in with the first reading that is past two thirds."""
        if self._has_hops or now_sg > dry_hop_sg(batch.original_sg, batch.expected_final_sg):
            return
        self._has_hops = True
        self._store.add_note(Note(0, batch.id, utc_s, NoteKind.DRY_HOP_IN, HOP_WORDS))

    def _found_in_the_morning(self, batch: Batch, utc_s: float) -> None:
        recipe = self._recipe
        if self._has_seen_night or utc_s - batch.pitched_utc_s < recipe.night_h * HOUR_S:
            return
        self._has_seen_night = True
        self._store.add_note(Note(0, batch.id, utc_s, NoteKind.NOTE, recipe.night_words))

    def _new_lines(self) -> list[bytes]:
        """The whole lines the file has gained; the rest of a line still being written waits."""
        try:
            with self._truth.open("rb") as file:
                file.seek(self._read_bytes)
                whole, newline, _ = file.read().rpartition(b"\n")
        except FileNotFoundError:
            return []
        self._read_bytes += len(whole) + len(newline)
        return whole.splitlines()

    def _noted(self, pitched_utc_s: float) -> Batch:
        recipe = self._recipe
        self._batch = self._store.add_batch(
            Batch(
                id=0,
                chamber=self._chamber,
                name=recipe.name,
                pitched_utc_s=pitched_utc_s,
                original_sg=recipe.original_sg,
                expected_final_sg=recipe.expected_final_sg,
                volume_l=recipe.volume_l,
                strain=recipe.strain,
            )
        )
        pitched = Note(0, self._batch.id, pitched_utc_s, NoteKind.PITCH, PITCH_WORDS)
        self._store.add_note(pitched)
        self._store.set_plan(self._batch.id, Plan(hop_limit_h=HOP_LIMIT_H))
        return self._batch


def typed(batch: Batch, utc_s: float, true_sg: float, beer_c: float) -> GravityReading:
    """The reading a person types for a sample taken now and read while it is still hot."""
    sample_c = round(beer_c / SAMPLE_STEP_C) * SAMPLE_STEP_C
    shown_sg = true_sg
    for _ in range(4):  # The correction itself hardly changes with the reading.
        off_sg = true_sg - corrected_sg(shown_sg, sample_c, HYDROMETER_C, batch.original_sg)
        shown_sg += off_sg
    return GravityReading(
        id=0,
        batch_id=batch.id,
        taken_utc_s=utc_s,
        entered=round(round(shown_sg / TYPED_STEP_SG) * TYPED_STEP_SG, 4),
        unit=GravityUnit.SG,
        sample_c=sample_c,
        calibrated_c=HYDROMETER_C,
    )
