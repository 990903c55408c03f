"""Where the hours went: the sum is exact, and each spell has its cause."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.facts import Bucket
from dashboard.fermentation.account.lived import (
    Interruption,
    LivedHour,
    Trouble,
    lived_hours,
    warmth_lived,
)
from dashboard.fermentation.account.spells import Cause, spells, worth
from dashboard.fermentation.course.warmth import clock_for
from dashboard.fermentation.strains import strain

KVEIK = strain("kveik")
PITCHED_S = 1_767_265_200.0


def held(count=72, **changes):
    """Hours at 35 °C with the pad half on; `changes` are by hour: {20: {"beer_c": 25.0}}."""
    hours = [LivedHour(float(h), 35.0, True, 35.0, 3.0, 0.5) for h in range(count)]
    for hour, values in changes.get("at", {}).items():
        hours[hour] = replace(hours[hour], **values)
    return hours


def cold(first, last, **values):
    return {hour: {"beer_c": 26.0, **values} for hour in range(first, last)}


@pytest.mark.parametrize(
    ("values", "cause"),
    [
        ({"heat_share": 1.0}, Cause.COLD_NIGHT),
        ({"trouble": Trouble.OUTAGE}, Cause.OUTAGE),
        ({"trouble": Trouble.PROBE}, Cause.PROBE),
        ({"trouble": Trouble.TRIP}, Cause.TRIP),
        ({"heat_share": 0.2}, Cause.NOT_HEATED),
    ],
)
def test_a_cold_spell_has_one_cause(values, cause):
    (found,) = spells(KVEIK, held(at=cold(20, 28, **values)), 72.0)
    assert found.cause is cause
    assert (found.from_h, found.to_h, found.lowest_c) == (20.0, 28.0, 26.0)
    assert found.lost_h == pytest.approx(8.0 * (1.0 - worth(KVEIK, 26.0)))


def test_an_outage_owns_the_hours_of_warming_up_after_it():
    hours = held(at={**cold(20, 24, trouble=Trouble.OUTAGE), **cold(24, 34, heat_share=1.0)})
    (found,) = spells(KVEIK, hours, 72.0)
    assert found.cause is Cause.OUTAGE and found.to_h == 34.0


def test_an_outage_without_a_target_still_counts():
    hours = held(at=cold(20, 30, trouble=Trouble.OUTAGE, target_c=None))
    (found,) = spells(KVEIK, hours, 72.0)
    assert found.cause is Cause.OUTAGE and found.lost_h > 3.0


def test_pitched_cold_and_always_cold_are_told_apart():
    (start,) = spells(KVEIK, held(at=cold(0, 9, heat_share=1.0)), 72.0)
    assert start.cause is Cause.WARM_UP
    (always,) = spells(KVEIK, held(at=cold(0, 70, heat_share=1.0)), 72.0)
    assert always.cause is Cause.WEAK_PAD
    assert always.over_garage_k == pytest.approx(23.0)


def test_a_risen_target_is_no_night():
    hours = held(at={h: {"beer_c": 25.0, "target_c": 25.0} for h in range(20)})
    hours = [
        replace(each, beer_c=26.0 + each.hour - 20.0, heat_share=1.0)
        if 20 <= each.hour < 29
        else each
        for each in hours
    ]
    causes = {each.cause for each in spells(KVEIK, hours, 72.0)}
    assert causes == {Cause.RISE, Cause.PROFILE}


def test_a_low_profile_is_the_profiles_doing():
    hours = held(at={h: {"beer_c": 27.0, "target_c": 27.0} for h in range(72)})
    (found,) = spells(KVEIK, hours, 72.0)
    assert found.cause is Cause.PROFILE
    assert found.lost_h == pytest.approx(72.0 * (1.0 - worth(KVEIK, 27.0)))


def test_held_beer_lost_nothing():
    assert spells(KVEIK, held(), 72.0) == ()


def test_two_nights_are_two_spells_the_colder_first():
    at = {**cold(12, 20, heat_share=1.0), **cold(36, 46, heat_share=1.0, beer_c=22.0)}
    first, second = spells(KVEIK, held(at=at), 72.0)
    assert (first.from_h, second.from_h) == (36.0, 12.0)
    assert first.lost_h > second.lost_h


@given(st.lists(st.floats(8.0, 35.0), min_size=24, max_size=96))
def test_the_parts_are_the_whole(temperatures):
    """What spells lost is what the clock says the hours were short of, but for dips of half a
    kelvin nobody names.
    """
    hours = [
        LivedHour(float(h), beer_c, True, 35.0, 3.0, 1.0) for h, beer_c in enumerate(temperatures)
    ]
    clock = clock_for(KVEIK, warmth_lived(hours))
    length_h = float(len(hours))
    lost_h = length_h - clock.warm_h(length_h)
    named_h = sum(each.lost_h for each in spells(KVEIK, hours, length_h))
    # The clock joins the hours' middles by lines; the sum takes each hour as level.
    steps = sum(abs(a - b) for a, b in pairwise(temperatures))
    assert named_h == pytest.approx(lost_h, abs=1.0 + 0.05 * steps)


def bucket(hour, beer_c):
    return Bucket(PITCHED_S + hour * 3600.0, beer_c, beer_c, beer_c, 3.0, 35.0, 0.4, 0.0)


def test_an_hour_without_ticks_is_an_outage_and_without_a_probe_a_probes():
    buckets = [bucket(0, 35.0), bucket(1, 34.0), bucket(3, None), bucket(4, 30.0)]
    hours = lived_hours(buckets, PITCHED_S, PITCHED_S + 5 * 3600.0)
    assert [each.trouble for each in hours] == [None, None, Trouble.OUTAGE, Trouble.PROBE, None]
    assert [each.beer_c for each in hours] == pytest.approx(
        [35.0, 34.0, 32.667, 31.333, 30.0], abs=1e-3
    )
    assert warmth_lived(hours).missing_h == 2.0


def test_an_interruption_from_the_events_marks_its_hours():
    buckets = [bucket(hour, 35.0) for hour in range(6)]
    trip = Interruption(PITCHED_S + 2 * 3600.0, PITCHED_S + 4 * 3600.0, Trouble.TRIP)
    hours = lived_hours(buckets, PITCHED_S, PITCHED_S + 6 * 3600.0, (trip,))
    assert [each.trouble is Trouble.TRIP for each in hours] == [
        False,
        False,
        True,
        True,
        False,
        False,
    ]


def test_nothing_measured_is_nothing_lived():
    assert lived_hours([], PITCHED_S, PITCHED_S + 9e4) == ()
