"""What every watch is shown of one tick. (Part of the effect stage.) It decides nothing."""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Applied, Evidence
from controller.thermal.model import Vessel


@dataclass(frozen=True, slots=True)
class Look:
    """One tick: a vessel, what is believed, what the relays did for the last `dt_s` seconds."""

    vessel: Vessel
    evidence: Evidence
    applied: Applied
    dt_s: float
    now_s: float


def is_within(span_s: float, now_s: float, then_s: float | None) -> bool:
    """Whether `then_s` is known and less than `span_s` ago."""
    return then_s is not None and now_s - then_s < span_s
