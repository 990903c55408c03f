"""The account of batches brewed in the simulated garage, and the words it is told in."""

from __future__ import annotations

import random
from zoneinfo import ZoneInfo

import pytest

from dashboard.fermentation.account.account import Told, account_of
from dashboard.fermentation.account.lived import LivedHour, warmth_lived
from dashboard.fermentation.account.sentences import in_words
from dashboard.fermentation.account.signatures import Signature
from dashboard.fermentation.account.spells import Cause, worth
from dashboard.fermentation.course.kinetics import Course, Reading
from dashboard.fermentation.course.warmth import clock_for
from dashboard.fermentation.gravity import plato_from_sg, sg_from_plato
from dashboard.fermentation.strains import strain
from tests.bench.account import KNOWN, START_UTC_S, brewed, judged, nothing

OSLO = ZoneInfo("Europe/Oslo")
KVEIK, ALE = strain("kveik"), strain("clean-ale")
COURSE = Course(plato_from_sg(1.050), 2.6, 0.13, 4.4)


@pytest.mark.parametrize("name", KNOWN)
def test_a_known_cause_is_named_first(name):
    make, causes = KNOWN[name]
    assert judged(make, 101).blamed[0] in causes


def test_where_nothing_was_wrong_nothing_is_blamed_for_hours():
    found = judged(nothing, 101)
    assert sum(each.lost_h for each in found.spells) < 3.0
    assert Signature.STOPPED not in {each.signature for each in found.signs}


def test_the_hours_add_up():
    found = judged(KNOWN["cold nights"][0], 7)
    total_h = found.usual_h + found.temperature_h + found.remainder_h
    assert total_h == pytest.approx(found.took_h)
    named_h = sum(each.lost_h for each in found.spells)
    assert named_h == pytest.approx(found.temperature_h, abs=1.5)


def hours_at(beer_c, count=96, **values):
    return [LivedHour(float(h), beer_c, True, beer_c, 3.0, 0.3, **values) for h in range(count)]


def readings_of(course, hours):
    return tuple(Reading(h, sg_from_plato(course.plato(h))) for h in hours)


def signatures(told, hours, kind=KVEIK):
    return [each.signature for each in account_of(kind, told, hours).signs]


TAKEN = (8.0, 18.0, 28.0, 40.0, 56.0, 72.0, 90.0)


def test_a_poor_wort_and_poor_oxygen_are_told_apart_by_the_forced_test():
    stopped = readings_of(Course(plato_from_sg(1.050), 4.8, 0.15, 4.4), TAKEN)
    assert signatures(Told(1.050, stopped), hours_at(35.0)) == [Signature.STOPPED]
    poor = Told(1.050, stopped, forced_sg=sg_from_plato(4.7))
    assert signatures(poor, hours_at(35.0)) == [Signature.POOR_WORT]
    short = Told(1.050, stopped, forced_sg=sg_from_plato(2.5))
    assert signatures(short, hours_at(35.0)) == [Signature.LOW_OXYGEN]


def test_a_stop_after_great_heat_is_the_heats():
    stopped = readings_of(Course(plato_from_sg(1.050), 4.8, 0.15, 4.4), TAKEN)
    hours = hours_at(35.0)
    hours[20:28] = [LivedHour(float(h), 44.0, True, 35.0, 3.0, 0.3) for h in range(20, 28)]
    assert Signature.TOO_HOT in signatures(Told(1.050, stopped), hours)


def test_a_stop_in_the_cold_is_not_the_yeasts():
    stopped = readings_of(Course(plato_from_sg(1.050), 5.5, 0.15, 4.4), TAKEN)
    hours = [
        *hours_at(35.0, 40),
        *(LivedHour(float(h), 10.0, True, 35.0, 0.0, 1.0) for h in range(40, 96)),
    ]
    assert Signature.STOPPED not in signatures(Told(1.050, stopped), hours)


def test_a_gravity_that_rose_is_a_reading_in_error():
    taken = [
        *readings_of(COURSE, TAKEN[:4]),
        Reading(44.0, sg_from_plato(COURSE.plato(40.0) + 0.9)),
    ]
    assert Signature.READING in signatures(Told(1.050, tuple(taken)), hours_at(35.0))


def test_a_fall_after_hops_in_a_still_beer_is_hop_creep():
    taken = [*readings_of(COURSE, TAKEN), Reading(130.0, sg_from_plato(COURSE.plato(90.0) - 0.6))]
    told = Told(1.050, tuple(taken), hopped_hour=95.0)
    assert Signature.HOP_CREEP in signatures(told, hours_at(35.0, 140))
    unhopped = Told(1.050, tuple(taken))
    assert Signature.HOP_CREEP not in signatures(unhopped, hours_at(35.0, 140))


def test_a_late_kveik_is_a_late_start_and_no_fault():
    late = Course(plato_from_sg(1.050), 2.6, 0.16, 9.5)
    taken = readings_of(late, (20.0, 40.0, 50.0, 60.0, 70.0, 80.0, 94.0))
    found = account_of(KVEIK, Told(1.050, taken), hours_at(35.0))
    assert found.signs[0].signature is Signature.LATE_START
    assert "no fault" in found.signs[0].test


def test_without_readings_only_temperature_is_accounted_for():
    hours = [
        *hours_at(35.0, 30),
        *(LivedHour(float(h), 22.0, True, 35.0, 0.0, 1.0) for h in range(30, 48)),
    ]
    found = account_of(KVEIK, Told(1.050, ()), hours)
    assert found.remainder_h == 0.0 and found.signs == ()
    assert found.blamed[0] is Cause.COLD_NIGHT and found.temperature_h > 5.0


def test_the_cold_night_is_named_with_its_figures():
    hours = hours_at(35.0)
    hours[9:19] = [LivedHour(float(h), 26.0, True, 35.0, -12.4, 1.0) for h in range(9, 19)]
    clock = clock_for(KVEIK, warmth_lived(hours))
    taken = tuple(Reading(h, sg_from_plato(COURSE.plato(clock.warm_h(h)))) for h in TAKEN)
    lines = in_words(account_of(KVEIK, Told(1.050, taken), hours), KVEIK, START_UTC_S, OSLO)
    lost_h = 10.0 * (1.0 - worth(KVEIK, 26.0))
    assert lines[0].startswith("It took ") and f"Temperature cost {lost_h:.0f} h" in lines[0]
    assert lines[1] == (
        f"Cold cost {lost_h:.0f} h in the night of 1 to 2 January: the beer was down to 26.0 °C of"
        " the 35 °C asked for while the garage was at -12.4 °C, the pad at its limit (it held the"
        " beer 38 K above the garage)."
    )
    assert "within what batches of this kind differ by" in lines[-1]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("weak pad", "stronger pad"),
        ("outage", "An outage cost"),
        ("pitched cold", "It was pitched cold, at"),
        ("low profile", "The profile asked for"),
        ("low pitch", "too little or tired yeast"),
        ("early stop", "forced test"),
        ("hungry yeast", "yeast nutrient"),
    ],
)
def test_each_cause_has_its_sentence_and_its_test(name, words):
    dice = random.Random(4)
    brew = KNOWN[name][0](dice)
    told, hours, _ = brewed(brew, dice)
    kind = strain(brew.slug)
    lines = in_words(account_of(kind, told, hours), kind, START_UTC_S, OSLO)
    assert words in lines[1]
    for line in lines:
        assert line.endswith(".") and "None" not in line and "nan" not in line


def test_a_batch_without_trouble_is_told_so():
    found = account_of(KVEIK, Told(1.050, readings_of(COURSE, TAKEN)), hours_at(35.0))
    lines = in_words(found, KVEIK, START_UTC_S, OSLO)
    assert "Nothing in its temperatures or its readings held it up." in lines
