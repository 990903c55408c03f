from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision.learning import Knowledge, LearningMemory, know, outlook
from controller.decision.vocabulary import Applied, Evidence, Moment, Sensed, Target
from controller.thermal.learned import Course, Learned
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.reach import Reach

VESSEL = vessel_of(VesselSettings(20.0, 60.0))
COURSE = Course.of(VESSEL)
LEARNED = Learned(0.8, 0.04, 60.0, 3.0, 86_000.0, 400.0, 30.0, 9.0, 1.0, 25.0, 60.0)
AT_35 = Target(35.0, 35.0)


def sees(beer_c: float | None, garage_c: float | None, fitted: bool = True) -> Evidence:
    return Evidence(
        beer=Sensed(beer_c, 0.0, fitted=True), garage=Sensed(garage_c, 0.0, fitted=fitted)
    )


def after(
    memory: LearningMemory, evidence: Evidence, mono_s: float
) -> tuple[LearningMemory, Knowledge]:
    return know(COURSE, memory, evidence, Applied(), Moment(mono_s, mono_s))


def test_before_anything_is_learned_the_vessel_is_as_described() -> None:
    memory, known = after(LearningMemory(), sees(20.0, 5.0), 10.0)
    assert known == Knowledge(VESSEL, VESSEL, None, 5.0, 5.0)
    assert memory.learn.bank is None


def test_the_garage_is_smoothed_and_kept_when_its_probe_fails() -> None:
    memory, _ = after(LearningMemory(), sees(20.0, 5.0), 10.0)
    memory, known = after(memory, sees(20.0, 11.0), 20.0)
    assert known.garage_c == pytest.approx(5.0 + 6.0 * 10.0 / 1200.0)
    _, known = after(memory, sees(20.0, None), 30.0)
    assert known.garage_c == memory.garage_c


def test_last_nights_cold_is_remembered_through_the_day_and_fades() -> None:
    memory, _ = after(LearningMemory(), sees(20.0, -6.0), 10.0)
    mono_s = 10.0
    for _ in range(24 * 60):
        mono_s += 60.0
        memory, known = after(memory, sees(20.0, 4.0), mono_s)
    assert known.coldest_c is not None and -4.0 < known.coldest_c < 0.0


def test_without_a_garage_probe_there_is_no_outlook_on_the_night() -> None:
    _, known = after(LearningMemory(), sees(20.0, None, fitted=False), 10.0)
    found = outlook(known, sees(20.0, None, fitted=False), AT_35)
    assert found.garage_c is not None
    assert found == Reach(found.garage_c, 0.0)


def test_the_outlook_counts_the_ferments_sure_heat_only() -> None:
    known = Knowledge(VESSEL, VESSEL, LEARNED, 3.0, -2.0)
    evidence = sees(35.0, 3.0)
    sure = outlook(known, evidence, AT_35)
    none = outlook(replace(known, learned=None), evidence, AT_35)
    blind = outlook(
        replace(known, learned=replace(LEARNED, ferment_w=None, ferment_sd_w=None)), evidence, AT_35
    )
    assert sure.spare_w is not None and none.spare_w is not None
    assert sure.spare_w == pytest.approx(none.spare_w + 8.0)
    assert blind.spare_w == none.spare_w
    assert sure.garage_c == none.garage_c
    assert sure.garage_sd_k is not None and sure.garage_sd_k > 0.0
    assert outlook(known, evidence, None).garage_c is None
