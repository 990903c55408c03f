"""Batches for the tests of advice: a kveik whose course is known."""

from __future__ import annotations

from dashboard.facts import Batch
from dashboard.fermentation.advice.items import BatchView
from dashboard.fermentation.course.forecast import forecast
from dashboard.fermentation.course.kinetics import Course, Reading
from dashboard.fermentation.course.warmth import Warmth, clock_for
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from dashboard.fermentation.strains import strain
from dashboard.fermentation.terminal import terminal_verdict

PITCHED_S = 1_767_265_200.0  # 1 January 2026, 11:00 UTC.
COURSE = Course(plato_from_sg(1.050), 2.6, 0.16, 4.4)
TWO_THIRDS_H = COURSE.warm_h_at(2 / 3)


def view_at(hour, reading_hours=(), number=1, name="Frost", **changes):
    """The view of a batch `hour` hours after pitching; `changes` are fields of `BatchView`."""
    kind = changes.pop("strain", strain("kveik"))
    warmth = Warmth(((0.0, kind.expected.usual_c),), float(hour))
    readings = tuple(Reading(h, sg_from_plato(COURSE.plato(h))) for h in reading_hours)
    batch = Batch(number, "cellar", name, PITCHED_S, 1.050, 1.010, 20.0, kind.slug)
    said = forecast(kind, 1.050, readings, clock_for(kind, warmth), float(hour))
    hops = changes.get("hops", ())
    hopped = max(((h.in_utc_s - PITCHED_S) / 3600.0 for h in hops), default=None)
    verdict = terminal_verdict(kind, 1.050, readings, warmth, hopped_hour=hopped)
    return BatchView(batch, kind, readings, said, verdict, **changes)


def at(hour):
    """UTC seconds so many hours after pitching."""
    return PITCHED_S + hour * 3600.0
