"""Learning on a vessel with more lags than its model, driven by a relay of its own."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.thermal.learn import LearnMemory, Seen, learn, recalled
from controller.thermal.learned import EASE, Course, Learned, remembered, sound
from controller.thermal.model import VesselSettings, vessel_of
from tests.controller.thermal.vessels import Vessel, batch, no_ferment

COURSE = Course.of(vessel_of(VesselSettings(20.0, 60.0)))
NUMBERS = (
    "loss_w_per_k", "loss_sd_w_per_k", "pad_w", "pad_sd_w", "capacity_j_per_k",
    "delay_s", "delay_sd_s", "hold_w", "hours",
)  # fmt: skip
KNOWN = Learned(0.8, 0.05, 58.0, 3.2, 86_000.0, 400.0, 30.0, 2.0, 0.5, 25.0, 60.0)


def known_by(vessel: Vessel) -> Learned:
    assert vessel.memory.learned is not None
    return vessel.memory.learned


@pytest.mark.parametrize(
    ("volume_l", "pad_w", "jacket", "loss_w_per_k"),
    [
        (20.0, 60.0, "good", 0.85),
        (20.0, 60.0, "good", 0.64),
        (20.0, 100.0, "thin", 2.3),
        (5.0, 25.0, "good", 0.34),
        (20.0, 160.0, "good", 2.4),
    ],
)
@pytest.mark.parametrize("ferments", [True, False])
def test_three_days_tell_the_loss_to_a_tenth_and_the_interval_holds_it(
    volume_l: float, pad_w: float, jacket: str, loss_w_per_k: float, ferments: bool
) -> None:
    vessel = Vessel(
        VesselSettings(volume_l, pad_w, jacket),
        loss_w_per_k,
        pad_w,
        ferment_w=batch(volume_l) if ferments else no_ferment,
    ).run(72)
    learned = known_by(vessel)
    assert learned.loss_w_per_k == pytest.approx(loss_w_per_k, rel=0.1)
    assert abs(learned.loss_w_per_k - loss_w_per_k) < 1.96 * learned.loss_sd_w_per_k
    assert learned.loss_sd_w_per_k < 0.11 * learned.loss_w_per_k


@pytest.mark.parametrize("strays", [0.8, 1.2])
def test_a_warm_up_tells_what_the_pad_really_gives_and_how_late(strays: float) -> None:
    vessel = Vessel(pad_w=60.0 * strays, start_c=18.0).run(10)
    learned = known_by(vessel)
    assert learned.pad_w == pytest.approx(60.0 * strays, rel=0.1)
    # Pad 700 J/K over 4.4 W/K, a bead of 60 s and a well of 90 s: 309 s by the half rule's sum.
    assert learned.delay_s == pytest.approx(309.0, abs=120.0)
    assert learned.pad_w / learned.capacity_j_per_k == pytest.approx(
        vessel.pad_w / (vessel.capacity_j_per_k + 1200.0), rel=0.05
    )


def test_the_ferments_heat_is_followed_through_its_course() -> None:
    vessel = Vessel(ferment_w=batch(20.0)).run(72)
    late = vessel.errors_w[12 * 360 :]
    assert math.sqrt(sum(e * e for e in late) / len(late)) < 1.5
    learned = known_by(vessel)
    assert learned.ferment_w is not None and learned.ferment_sd_w is not None
    assert learned.ferment_w < 2.0 * learned.ferment_sd_w


def test_without_a_garage_probe_the_pad_is_learned_and_the_loss_stays_as_described() -> None:
    vessel = Vessel(pad_w=50.0, start_c=20.0, has_garage=False).run(30)
    learned = known_by(vessel)
    assert learned.pad_w == pytest.approx(50.0, rel=0.12)
    assert learned.loss_w_per_k == vessel.course.vessel.loss_w_per_k
    assert learned.loss_sd_w_per_k > 0.3 * learned.loss_w_per_k
    assert learned.ferment_w is None and learned.ferment_sd_w is None
    true_w = 0.85 * (vessel.beer_c - vessel.garage_c(vessel.mono_s))
    assert learned.hold_w == pytest.approx(true_w, abs=5.0)
    assert vessel.memory.sound == vessel.course.vessel


@pytest.mark.parametrize("lost", ["beer_lost", "garage_lost", "fan"])
def test_what_cannot_be_learned_from_is_passed_over(lost: str) -> None:
    vessel = Vessel().run(24)
    before = known_by(vessel)
    setattr(vessel, lost, True)
    vessel.run(2)
    assert known_by(vessel) == before
    assert vessel.memory.window.began_s is None
    setattr(vessel, lost, False)
    vessel.run(24)
    after = known_by(vessel)
    assert after.hours == pytest.approx(48.0, abs=1.5)
    assert after.loss_w_per_k == pytest.approx(0.85, rel=0.1)


def test_a_lid_held_open_teaches_nothing_wrong() -> None:
    vessel = Vessel().run(30)
    before = known_by(vessel)
    vessel.loss_factor = 4.0
    vessel.run(0.5)
    vessel.loss_factor = 1.0
    vessel.run(12)
    assert known_by(vessel).loss_w_per_k == pytest.approx(before.loss_w_per_k, rel=0.03)


def test_a_jug_of_cold_water_teaches_nothing_wrong() -> None:
    vessel = Vessel().run(30)
    before = known_by(vessel)
    vessel.beer_c -= 2.0
    vessel.run(12)
    assert known_by(vessel).loss_w_per_k == pytest.approx(before.loss_w_per_k, rel=0.04)


def test_a_vessel_that_goes_on_surprising_is_learned_anew() -> None:
    vessel = Vessel(pad_w=160.0, said=VesselSettings(20.0, 160.0)).run(30)
    assert known_by(vessel).loss_w_per_k == pytest.approx(0.85, rel=0.1)
    vessel.loss_factor = 4.0
    vessel.run(48)
    assert known_by(vessel).loss_w_per_k == pytest.approx(3.4, rel=0.15)


def test_a_gap_begins_a_new_stretch() -> None:
    vessel = Vessel().run(10)
    course, memory = vessel.course, vessel.memory
    after = learn(course, memory, Seen(vessel.mono_s + 300.0, False, False, 35.0, 3.0))
    assert after.window.began_s is None and after.window.lagged == 0.0
    assert after.bank == memory.bank
    again = learn(course, after, Seen(vessel.mono_s + 310.0, False, False, 35.0, 3.0))
    assert again.window.began_s == vessel.mono_s + 310.0


def test_what_is_steered_by_moves_gently_towards_what_is_learned() -> None:
    vessel = Vessel(loss_w_per_k=1.3)
    steered = [vessel.course.vessel.loss_w_per_k]
    for _ in range(48 * 12):
        vessel.run(1 / 12)
        if vessel.memory.vessel is not None:
            steered.append(vessel.memory.vessel.loss_w_per_k)
    steps = [after / before for before, after in pairwise(steered)]
    assert max(steps) <= 1.0 + EASE + 1e-9 and min(steps) >= 1.0 - EASE - 1e-9
    assert steered[-1] == pytest.approx(known_by(vessel).loss_w_per_k, rel=0.01)


def test_a_later_life_goes_on_with_what_was_learned_and_is_no_surer() -> None:
    vessel = Vessel().run(48)
    before = known_by(vessel)
    vessel.memory = recalled(vessel.course, before)
    assert vessel.memory.vessel is not None
    assert vessel.memory.vessel.loss_w_per_k == before.loss_w_per_k
    vessel.run(0.6)
    after = known_by(vessel)
    assert after.loss_w_per_k == pytest.approx(before.loss_w_per_k, rel=0.03)
    assert after.pad_w == pytest.approx(before.pad_w, rel=0.03)
    assert after.loss_sd_w_per_k >= 0.9 * before.loss_sd_w_per_k
    assert after.hours > before.hours


def test_without_an_earlier_life_it_begins_as_described() -> None:
    course = Course.of(vessel_of(VesselSettings(20.0, 60.0)))
    assert recalled(course, None) == LearnMemory()


def test_an_earlier_life_without_a_garage_probe_leaves_the_ferment_open() -> None:
    vessel = Vessel(memory=LearnMemory())
    blind = replace(KNOWN, ferment_w=None, ferment_sd_w=None)
    vessel.memory = recalled(vessel.course, blind)
    vessel.run(1)
    assert known_by(vessel).ferment_w is not None


def test_bounds_for_faults_get_narrower_and_never_wider() -> None:
    prior = vessel_of(VesselSettings(20.0, 60.0))
    assert sound(prior, None) is prior
    assert sound(prior, replace(KNOWN, hours=5.0)) is prior
    assert sound(prior, replace(KNOWN, ferment_w=None)) is prior
    narrowed = sound(prior, KNOWN)
    assert narrowed.loss_low_w_per_k == pytest.approx(0.64 - 0.15)
    assert narrowed.loss_high_w_per_k == pytest.approx(1.6 + 0.15)
    assert narrowed.pad_w == prior.pad_w
    for loss_w_per_k in (0.05, 0.3, 2.0, 9.0):
        one = sound(prior, replace(KNOWN, loss_w_per_k=loss_w_per_k))
        assert prior.loss_low_w_per_k <= one.loss_low_w_per_k <= one.loss_high_w_per_k
        assert one.loss_high_w_per_k <= prior.loss_high_w_per_k


felt_c = st.one_of(st.none(), st.floats(-20.0, 60.0), st.floats(34.0, 36.0))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(felt_c, felt_c, st.booleans(), st.booleans(), st.integers(1, 400)),
        min_size=1,
        max_size=25,
    ),
    st.booleans(),
    st.floats(-1e5, 1e5),
)
def test_no_readings_and_no_clock_ever_break_it_or_leave_its_bounds(
    stretches: list[tuple[float | None, float | None, bool, bool, int]],
    has_garage: bool,
    jump_s: float,
) -> None:
    course, memory, mono_s = COURSE, LearnMemory(), 1000.0
    for beer_c, garage_c, heat, fan, ticks in stretches:
        for tick in range(ticks):
            mono_s += 10.0
            wobble_k = 0.0625 * (tick % 3)
            memory = learn(
                course,
                memory,
                Seen(
                    mono_s,
                    heat and tick % 60 < 30,
                    fan,
                    None if beer_c is None else beer_c + wobble_k,
                    garage_c,
                    has_garage,
                ),
            )
        mono_s += jump_s
    learned, vessel = memory.learned, memory.vessel
    if learned is None or vessel is None:
        return
    assert all(math.isfinite(getattr(learned, name)) for name in NUMBERS)
    assert 0.39 * 0.5 * 0.85 < learned.loss_w_per_k < 2.0 * 4.6 * 0.85
    assert 0.5 * 60.0 < learned.pad_w < 1.8 * 60.0
    assert 100.0 <= learned.delay_s <= 2000.0
    assert vessel.loss_w_per_k > 0.0


def test_what_was_told_is_remembered_within_the_bounds_of_the_vessel() -> None:
    vessel = COURSE.vessel
    told = remembered(vessel, (0.8, 0.05), (58.0, 3.2), 400.0, (2.0, 0.5), 60.0)
    assert (told.loss_w_per_k, told.pad_w, told.delay_s) == pytest.approx((0.8, 58.0, 400.0))
    # The pad's blame goes to pad and capacity by their variances: 58/60 of the pad, less of it.
    assert told.pad_w / told.capacity_j_per_k < vessel.rise_k_per_s * 58.0 / 60.0
    wild = remembered(vessel, (99.0, -1.0), (1e9, 0.0), -5.0, (None, None), -1.0)
    assert wild.loss_w_per_k < 9.0 and wild.pad_w < 100.0
    assert wild.delay_s == 140.0 and wild.hours == 0.0
    assert wild.loss_sd_w_per_k > 0.0 and wild.pad_sd_w > 0.0


def test_where_pad_and_volume_contradict_each_other_the_watts_are_less_sure() -> None:
    """A vessel filled to 15 L and told as 20 L warms a third faster: is it the pad or the beer?"""
    vessel = Vessel()
    vessel.capacity_j_per_k = 4100.0 * 15.0 + 3500.0
    learned = known_by(vessel.run(48))
    assert abs(learned.loss_w_per_k - 0.85) < 1.96 * learned.loss_sd_w_per_k
    assert learned.loss_sd_w_per_k > 0.1 * learned.loss_w_per_k
    assert learned.share_sd < 0.05
