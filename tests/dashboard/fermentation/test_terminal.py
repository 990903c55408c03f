"""Terminal gravity: each proof by itself, and never falsely on real ferments."""

from __future__ import annotations

import pytest

from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.warmth import Warmth
from dashboard.fermentation.gravity import sg_from_plato
from dashboard.fermentation.strains import strain
from dashboard.fermentation.terminal import Proof, terminal_verdict
from tests.bench.real_batches import real_batches

KVEIK, ALE, SAISON = strain("kveik"), strain("clean-ale"), strain("saison")
HOT = Warmth(((0.0, 35.0),), 200.0)
MILD = Warmth(((0.0, 19.0),), 400.0)
DONE = ((12.0, 1.040), (24.0, 1.022), (48.0, 1.010), (60.0, 1.010), (74.0, 1.0098))


def readings(pairs):
    return [Reading(hour, sg) for hour, sg in pairs]


def proofs(verdict):
    return {each.proof for each in verdict.missing}


def test_a_hot_kveik_that_stood_for_a_day_is_finished():
    verdict = terminal_verdict(KVEIK, 1.050, readings(DONE), HOT)
    assert verdict.is_terminal and verdict.missing == ()
    assert verdict.since_hour == 48.0 and verdict.caution is None


def test_an_ale_must_stand_for_two_days():
    verdict = terminal_verdict(ALE, 1.050, readings(DONE), MILD)
    assert not verdict.is_terminal
    later = [*readings(DONE), Reading(100.0, 1.0098)]
    assert terminal_verdict(ALE, 1.050, later, MILD).is_terminal


def test_the_lag_is_flat_and_not_the_end():
    still = readings([(0.0, 1.050), (12.0, 1.050), (24.0, 1.0498), (48.0, 1.0497)])
    verdict = terminal_verdict(KVEIK, 1.050, still, HOT)
    assert proofs(verdict) == {Proof.ACTIVE, Proof.ATTENUATED}


def test_a_stall_is_flat_and_not_the_end_and_says_what_to_do():
    stalled = readings([(12.0, 1.040), (24.0, 1.026), (48.0, 1.0255), (72.0, 1.0253)])
    verdict = terminal_verdict(KVEIK, 1.050, stalled, HOT)
    assert proofs(verdict) == {Proof.ATTENUATED}
    assert "48%" in verdict.missing[0].what and "forced test" in verdict.missing[0].remedy


def test_a_forced_test_lets_a_poor_wort_be_finished():
    stopped = readings([(12.0, 1.040), (24.0, 1.020), (48.0, 1.017), (74.0, 1.017)])
    assert not terminal_verdict(KVEIK, 1.050, stopped, HOT).is_terminal
    assert terminal_verdict(KVEIK, 1.050, stopped, HOT, forced_sg=1.0165).is_terminal
    assert not terminal_verdict(KVEIK, 1.050, stopped, HOT, forced_sg=1.010).is_terminal


def test_cold_is_not_the_end():
    chilled = Warmth(((0.0, 35.0), (48.0, 35.0), (50.0, 6.0)), 80.0)
    verdict = terminal_verdict(KVEIK, 1.050, readings(DONE), chilled)
    assert proofs(verdict) == {Proof.WARM} and "6.0 °C" in verdict.missing[0].what


@pytest.mark.parametrize("fall", [0.0011, 0.003])
def test_a_slow_fall_is_not_flat(fall):
    falling = readings([(24.0, 1.020), (48.0, 1.010), (74.0, 1.010 - fall)])
    assert proofs(terminal_verdict(KVEIK, 1.050, falling, HOT)) == {Proof.FLAT}


def test_hops_ask_for_the_proof_again():
    verdict = terminal_verdict(KVEIK, 1.050, readings(DONE), HOT, hopped_hour=70.0)
    assert proofs(verdict) == {Proof.WATCHED}
    assert "since the dry hops" in verdict.missing[0].what
    crept = [*readings(DONE), Reading(100.0, 1.0080)]
    assert not terminal_verdict(KVEIK, 1.050, crept, HOT, hopped_hour=70.0).is_terminal
    stood = [*crept, Reading(126.0, 1.0078)]
    assert terminal_verdict(KVEIK, 1.050, stood, HOT, hopped_hour=70.0).is_terminal


def test_one_reading_or_none_proves_nothing():
    assert proofs(terminal_verdict(KVEIK, 1.050, [], HOT)) == {
        Proof.ACTIVE,
        Proof.ATTENUATED,
        Proof.WATCHED,
    }
    assert proofs(terminal_verdict(KVEIK, 1.050, [Reading(60.0, 1.010)], HOT)) == {Proof.WATCHED}


def test_a_yeast_that_keeps_falling_waits_a_week_and_stays_under_caution():
    warm = Warmth(((0.0, 27.0),), 900.0)
    stood = readings([(60.0, 1.020), (120.0, 1.006), (200.0, 1.0055)])
    assert not terminal_verdict(SAISON, 1.050, stood, warm).is_terminal
    verdict = terminal_verdict(SAISON, 1.050, [*stood, Reading(290.0, 1.0054)], warm)
    assert verdict.is_terminal and "weeks" in verdict.caution


@pytest.mark.skipif(not real_batches(), reason="the open series are not at hand")
@pytest.mark.parametrize("every_h", [6, 12, 24])
def test_no_real_ferment_is_called_falsely(every_h):
    """Flatness over a day alone would have called 13 of 29 at under 40 % attenuation."""
    naive = 0
    for batch in real_batches():
        hours = list(range(every_h, int(batch.hours[-1]) + 1, every_h))
        original_sg = sg_from_plato(batch.original_plato)
        for count in range(1, len(hours) + 1):
            taken = [batch.reading(hour) for hour in hours[:count]]
            warmth = batch.clock_up_to(hours[count - 1]).warmth
            left = batch.at(hours[count - 1]) - batch.final_plato
            if terminal_verdict(batch.strain, original_sg, taken, warmth).is_terminal:
                assert left <= 0.3, batch.name
                break
        day = [batch.at(hour) for hour in range(25)]
        naive += max(day) - min(day) <= 0.2
    assert naive >= 3
