"""The ice point, with the real library on files in the kernel's format."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.decision.vocabulary import Moment, Role
from controller.edge.clock import SystemClock
from controller.edge.probes import LocalProbes, ProbeSettings
from controller.errors import SettingsError
from controller.ice_point import (
    READINGS,
    WAIT_S_MAX,
    Found,
    Outcome,
    guide,
    ice_point,
    judge,
    raw_settings,
)
from tests.controller.edge.onewire_files import BEER, GARAGE, frame_of, place, text_of


class Flask:
    """A probe in a flask: its file shows what `felt_c` says at each moment of a made clock."""

    def __init__(self, folder: Path, rom: str, felt_c: Callable[[float], float | None]) -> None:
        self._folder, self._rom, self._felt_c = folder, rom, felt_c
        self._mono_s = 100.0
        self.show()

    def show(self) -> None:
        felt_c = self._felt_c(self._mono_s - 100.0)
        place(self._folder, self._rom, "" if felt_c is None else text_of(frame_of(felt_c)))

    def now(self) -> Moment:
        return Moment(self._mono_s, 0.0)

    def sleep_until(self, mono_s: float) -> None:
        self._mono_s = mono_s
        self.show()


def guided(
    folder: Path, felt_c: Callable[[float], float | None], role: Role = Role.BEER, **offsets: float
) -> tuple[Outcome, list[str]]:
    place(folder, BEER, text_of(frame_of(20.0)))
    rom = {Role.BEER: BEER, Role.GARAGE: GARAGE}[role]
    clock = Flask(folder, rom, felt_c)
    settings = ProbeSettings(beer=BEER, garage=GARAGE, folder=str(folder), **offsets)
    lines: list[str] = []
    probes = LocalProbes(raw_settings(settings, role), clock)
    return guide(probes, role, clock, lines.append), lines


def cooling(end_c: float, noise_k: float = 0.02) -> Callable[[float], float]:
    """From 20 °C down to `end_c` with a lag of two minutes."""
    chance = random.Random(3)
    return lambda s: end_c + (20.0 - end_c) * 2.718281828 ** (-s / 120.0) + chance.gauss(0, noise_k)


@pytest.mark.parametrize("error_k", [0.31, -0.44, 0.0])
def test_a_probe_that_rests_in_ice_tells_its_offset(tmp_path: Path, error_k: float) -> None:
    outcome, lines = guided(tmp_path, cooling(error_k))
    assert outcome.offset_k == pytest.approx(-error_k, abs=0.03)
    assert f"beer_offset_k = {outcome.offset_k:+.2f}" in outcome.text
    assert any("stir" in line for line in lines)


def test_an_offset_already_in_the_settings_does_not_count_twice(tmp_path: Path) -> None:
    outcome, _ = guided(
        tmp_path,
        cooling(0.25),
        beer_offset_k=-0.5,
        beer_second_c=38.0,
        beer_second_offset_k=0.2,
    )
    assert outcome.offset_k == pytest.approx(-0.25, abs=0.03)


def test_any_fitted_probe_can_be_the_one_in_the_ice(tmp_path: Path) -> None:
    outcome, _ = guided(tmp_path, cooling(-0.2), role=Role.GARAGE)
    assert outcome.offset_k == pytest.approx(0.2, abs=0.03)
    assert "garage_offset_k" in outcome.text


def test_what_cannot_be_melting_ice_is_refused(tmp_path: Path) -> None:
    outcome, _ = guided(tmp_path, cooling(4.0))
    assert outcome.offset_k is None
    assert "too far from 0 °C" in outcome.text


def test_a_bath_that_goes_on_warming_is_never_at_rest(tmp_path: Path) -> None:
    outcome, _ = guided(tmp_path, lambda s: 0.1 + s / 3600.0)
    assert outcome.offset_k is None
    assert f"{WAIT_S_MAX / 60.0:.0f} minutes" in outcome.text


def test_a_bath_that_is_not_stirred_is_never_at_rest(tmp_path: Path) -> None:
    outcome, _ = guided(tmp_path, lambda s: 0.3 if s % 40.0 < 20.0 else 0.0)
    assert outcome.offset_k is None


def test_one_bad_reading_is_passed_over_and_a_loose_wire_is_told(tmp_path: Path) -> None:
    outcome, _ = guided(tmp_path, lambda s: None if s == 50.0 else 0.125)
    assert outcome.offset_k == pytest.approx(-0.125, abs=0.01)
    loose, _ = guided(tmp_path, lambda _: None)
    assert loose.offset_k is None
    assert "gives no reading (unreadable)" in loose.text


def test_the_whole_procedure_reads_through_the_process_of_its_own(tmp_path: Path) -> None:
    clock = Hurried(tmp_path)
    settings = ProbeSettings(beer=BEER, folder=str(tmp_path))
    outcome = ice_point(settings, "beer", clock, lambda _: None)
    assert outcome.offset_k == pytest.approx(-0.1875, abs=0.01)


def test_a_role_without_a_probe_is_refused(tmp_path: Path) -> None:
    settings = ProbeSettings(beer=BEER, folder=str(tmp_path))
    with pytest.raises(SettingsError, match="no pad probe"):
        ice_point(settings, "pad", Hurried(tmp_path), lambda _: None)


class Hurried:
    """This machine's clock, but nobody waits between two readings."""

    def __init__(self, folder: Path) -> None:
        place(folder, BEER, text_of(frame_of(0.1875)))
        self._clock = SystemClock()

    def now(self) -> Moment:
        return self._clock.now()

    def sleep_until(self, mono_s: float) -> None: ...


def test_too_few_readings_settle_nothing() -> None:
    assert judge([]).found is Found.SETTLING
    assert judge([0.0] * (READINGS - 1)).found is Found.SETTLING
    assert judge([0.0] * READINGS).found is Found.STABLE
    assert judge([20.0, *[0.0] * READINGS]).found is Found.STABLE
