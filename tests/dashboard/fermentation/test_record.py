"""From raw facts to view, agenda and account, as a page uses it."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard.facts import Batch, Bucket, GravityReading, GravityUnit, Note, NoteKind
from dashboard.fermentation.account.lived import Interruption, Trouble
from dashboard.fermentation.account.sentences import in_words
from dashboard.fermentation.account.spells import Cause
from dashboard.fermentation.advice.agenda import agenda
from dashboard.fermentation.advice.items import Kind
from dashboard.fermentation.course.heat_balance import HeatStretch, heat_per_plato
from dashboard.fermentation.course.kinetics import CARDINALS, Course
from dashboard.fermentation.course.warmth import Warmth, clock_for
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from dashboard.fermentation.record import BatchRecord, account_from, corrected_readings, view_of
from dashboard.fermentation.strains import strain

PITCHED_S = 1_767_265_200.0
KVEIK = strain("kveik")
BATCH = Batch(1, "cellar", "Frost", PITCHED_S, 1.050, 1.010, 20.0, "kveik")
NIGHT = range(10, 20)  # 21:00 to 07:00 UTC.
TEMPERATURES = [26.0 if hour in NIGHT else 35.0 for hour in range(120)]
POINTS = tuple((hour + 0.5, beer_c) for hour, beer_c in enumerate(TEMPERATURES))
CLOCK = clock_for(KVEIK, Warmth(POINTS, 120.0))
COURSE = Course(plato_from_sg(1.050), plato_from_sg(1.010), 0.14, 4.4)


def bucket(hour):
    beer_c = TEMPERATURES[hour]
    is_cold = hour in NIGHT
    return Bucket(
        PITCHED_S + hour * 3600.0, beer_c, beer_c, beer_c, -9.0 if is_cold else 3.0, 35.0,
        1.0 if is_cold else 0.4, 0.0,
    )  # fmt: skip


def plato_at(hour):
    return COURSE.plato(CLOCK.warm_h(hour))


def typed(number, hour, sample_c=20.0):
    taken = PITCHED_S + hour * 3600.0
    return GravityReading(number, 1, taken, round(plato_at(hour), 2), GravityUnit.PLATO, sample_c)


def record(*hours, notes=(), **changes):
    gravities = tuple(typed(number, hour) for number, hour in enumerate(hours))
    fields = {"buckets": tuple(bucket(hour) for hour in range(120)), "profile": KVEIK.procedure}
    return BatchRecord(BATCH, KVEIK, gravities, notes, **(fields | changes))


def at(hour):
    return PITCHED_S + hour * 3600.0


def test_the_page_says_when_to_dry_hop_and_why_the_cold_night_cost_what_it_cost():
    view = view_of(record(12, 24), at(30))
    true_h = CLOCK.hour(COURSE.warm_h_at(2 / 3))
    item = next(each for each in agenda(view, at(30)) if each.kind is Kind.DRY_HOP)
    assert item.from_utc_s <= at(true_h) <= item.to_utc_s
    account = account_from(record(12, 24, 30, 40, 60, 80), at(82))
    assert account is not None and account.blamed[0] is Cause.COLD_NIGHT
    lines = in_words(account, KVEIK, PITCHED_S, ZoneInfo("UTC"))
    assert "in the night of 1 to 2 January" in lines[1] and "26.0 °C of the 35 °C" in lines[1]


def test_when_the_hops_must_come_out():
    hops = (Note(9, 1, at(40), NoteKind.DRY_HOP_IN, "60 g"),)
    view = view_of(record(12, 24, 38, notes=hops), at(100))
    item = next(each for each in agenda(view, at(100)) if each.kind is Kind.HOPS_OUT)
    assert item.due_utc_s == at(112) and "they have been in 60 h" in item.reason


def test_the_forecast_knows_the_cold_night():
    warm = replace(
        record(12), buckets=tuple(replace(bucket(h), beer_mean_c=35.0) for h in range(120))
    )
    cold_h = view_of(record(12), at(20)).forecast.two_thirds.middle_h
    warm_h = view_of(warm, at(20)).forecast.two_thirds.middle_h
    assert cold_h > warm_h + 2.0


def test_readings_are_corrected_and_those_before_pitching_left_out():
    hot = replace(typed(1, 12), sample_c=35.0)
    early = replace(typed(2, 12), taken_utc_s=PITCHED_S - 60.0)
    (found,) = corrected_readings(BATCH, [hot, early])
    assert found.hour == 12.0 and found.sg > sg_from_plato(hot.entered) + 0.003


def test_heat_carries_the_gravity_on_from_the_last_reading():
    per_plato = heat_per_plato(1.050, 20.0)
    heat = tuple(
        HeatStretch(h, h + 1.0, (plato_at(h) - plato_at(h + 1)) * per_plato / 3600.0, 0.4)
        for h in range(40)
    )
    without = view_of(record(12, 20), at(32))
    view = view_of(record(12, 20, heat=heat), at(32))
    assert without.heat is None and view.heat is not None and view.heat.why_not is None
    assert plato_from_sg(view.heat.sg) == pytest.approx(plato_at(32), abs=0.3)
    said, blind = view.forecast.now_sg, without.forecast.now_sg
    assert said.high - said.low < blind.high - blind.low
    assert len(view.readings) == 2, "an estimate is no reading"


def test_an_ended_batch_is_judged_at_its_end():
    ended = replace(record(12, 24, 40), batch=replace(BATCH, ended_utc_s=at(50)))
    assert view_of(ended, at(5000)).forecast.now_h == 50.0
    assert agenda(view_of(ended, at(5000)), at(5000)) == ()


def test_an_outage_from_the_events_is_the_cause():
    outage = Interruption(at(9.5), at(15), Trouble.OUTAGE)
    account = account_from(record(12, 24, 40, 60, 80), at(82), (outage,))
    assert account is not None and account.blamed[0] is Cause.OUTAGE


def test_before_anything_was_measured():
    empty = record(buckets=())
    assert account_from(empty, at(5)) is None
    assert view_of(empty, at(0)).forecast.two_thirds.middle_h > 10.0
    assert CARDINALS["kveik"].best_c > 35.0
