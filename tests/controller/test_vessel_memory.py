"""What is learned is told in every tick, and a later life goes on with it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller import wire
from controller.decision.decide import State
from controller.errors import DiskError
from controller.thermal.model import VesselSettings
from controller.vessel_memory import forget_learned, is_to_forget, known, recalling
from tests.controller.decision.driving import Drive, hold, plan_for

WORDS = VesselSettings(20.0, 60.0).in_words()
BARE = wire.Tick("left", "0001-aaaa", 1, 1.8e9, 10.0, True, "hold", 0.0, False, False)


@pytest.fixture(scope="module")
def drive() -> Drive:
    return Drive(plan_for(hold(35.0)), beer_c=32.0).run(30)


def last_tick(drive: Drive) -> wire.Tick:
    """The last decision as the wire carries it."""
    told = replace(BARE, vessel=WORDS, **known(drive.decisions[-1]))
    decoded = wire.decode(wire.encode(told))
    assert isinstance(decoded, wire.Tick)
    return decoded


def test_a_tick_says_what_is_known_and_how_surely(drive: Drive) -> None:
    tick = last_tick(drive)
    assert tick.loss_w_per_k == pytest.approx(drive.loss_w_per_k, rel=0.1)
    assert tick.loss_w_per_k_sd is not None and 0.02 < tick.loss_w_per_k_sd < 0.2
    assert tick.pad_learned_w == pytest.approx(60.0, rel=0.1)
    assert tick.ferment_w is not None and tick.ferment_w_sd is not None
    assert tick.ferment_w < 3.0 * tick.ferment_w_sd
    assert tick.learned_h == pytest.approx(30.0, abs=1.0)
    assert tick.hours_to_target == 0.0
    assert tick.reach_garage_c == pytest.approx(35.0 - 60.0 / drive.loss_w_per_k, rel=0.15)
    assert tick.reach_beer_c == pytest.approx(5.0 + 60.0 / drive.loss_w_per_k, rel=0.1)


def test_before_anything_is_learned_a_tick_says_only_what_the_pad_could_do() -> None:
    drive = Drive(plan_for(hold(35.0)), beer_c=32.0)
    fields = known(drive.turn())
    assert set(fields) == {"reach_garage_c", "reach_beer_c", "hours_to_target"}


def test_a_later_life_goes_on_with_what_was_learned(drive: Drive) -> None:
    tick = last_tick(drive)
    state = recalling(drive.plan, State(), tick, WORDS)
    learned = state.learning.learn.learned
    assert learned is not None and state.learning.learn.vessel is not None
    assert learned.loss_w_per_k == pytest.approx(tick.loss_w_per_k)
    assert state.learning.learn.vessel.loss_w_per_k == pytest.approx(tick.loss_w_per_k)
    again = Drive(drive.plan, beer_c=35.0, state=state).run(4)
    after = again.decisions[-1].learned
    assert after is not None
    assert after.loss_w_per_k == pytest.approx(tick.loss_w_per_k, rel=0.05)
    assert after.hours > learned.hours


@pytest.mark.parametrize(
    "tick",
    [
        None,
        replace(BARE, vessel="23 L, 60 W, good", loss_w_per_k=0.8),
        replace(BARE, vessel=WORDS),
        replace(BARE, vessel=WORDS, loss_w_per_k=0.8),
    ],
)
def test_with_another_vessel_or_nothing_told_it_begins_anew(tick: wire.Tick | None) -> None:
    assert recalling(plan_for(hold(35.0)), State(), tick, WORDS) == State()


def test_numbers_no_such_vessel_can_have_are_brought_within_its_bounds() -> None:
    hostile = replace(
        BARE, vessel=WORDS, loss_w_per_k=900.0, pad_learned_w=-4.0, delay_s=1e9, learned_h=-3.0
    )
    state = recalling(plan_for(hold(35.0)), State(), hostile, WORDS)
    learned = state.learning.learn.learned
    assert learned is not None
    assert 0.2 < learned.loss_w_per_k < 4.0
    assert 30.0 < learned.pad_w < 100.0
    assert learned.delay_s <= 2000.0
    Drive(plan_for(hold(35.0)), beer_c=30.0, state=state).run(2)


def test_a_note_to_forget_counts_once(tmp_path: Path) -> None:
    folder = tmp_path / "left"
    assert not is_to_forget(folder)
    note = forget_learned(folder)
    assert note.parent == folder
    assert is_to_forget(folder)
    assert not is_to_forget(folder)


def test_a_note_that_cannot_be_left_is_told(tmp_path: Path) -> None:
    (tmp_path / "left").write_text("not a folder")
    with pytest.raises(DiskError, match="cannot be written"):
        forget_learned(tmp_path / "left")
    assert (tmp_path / "left").is_file()


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (VesselSettings(20.0, 60.0), "20 L, 60 W, good"),
        (VesselSettings(5.5, 12.5, "none"), "5.5 L, 12.5 W, none"),
    ],
)
def test_a_vessel_is_told_in_words_that_can_be_read_back(
    settings: VesselSettings, words: str
) -> None:
    assert settings.in_words() == words
    assert VesselSettings.from_words(words) == settings
    assert VesselSettings.from_words("a bucket") is None
