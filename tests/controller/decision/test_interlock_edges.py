"""Each limit of the interlocks at its very edge, and which latch: not read off the table."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import pytest

from controller.decision import interlocks, probe_return
from controller.decision.interlock_rules import LIMIT_MARGIN_K, RULES, InterlockSettings
from controller.decision.vocabulary import (
    Applied,
    Evidence,
    Finding,
    Moment,
    Permit,
    Permits,
    Target,
    Wanted,
)
from controller.errors import SettingsError
from controller.settings import parse
from tests.controller.decision.test_interlocks import (
    CALM,
    NOW,
    WELL,
    allowed,
    remembering,
    sensed,
    with_beer,
)
from tests.scenarios.garage import SETTINGS

LATCHING = {
    "beer-too-hot",
    "pad-far-too-hot",
    "heat-without-effect",
    "heat-while-off",
    "rise-too-fast",
    "fall-too-fast",
    "pad-stays-cold",
    "pad-stays-hot",
    "beer-on-pad",
    "beer-frozen",
    "relay-disagrees",
}


def test_whatever_would_erase_its_own_evidence_latches_and_nothing_else() -> None:
    assert {rule.code for rule in RULES if rule.latches} == LATCHING


def test_just_three_kelvin_above_the_target_is_still_allowed() -> None:
    assert allowed(with_beer(38.0))[1].heat is Permit.FREE
    assert allowed(with_beer(38.01))[1].vetoes == ("beer-above-target",)


@pytest.mark.parametrize(
    ("ago_s", "is_off"), [(0.0, True), (0.5, False), (60.0, False), (60.1, True)]
)
def test_a_clock_that_stands_or_stood_still_keeps_everything_off(
    ago_s: float, is_off: bool
) -> None:
    vetoes = allowed(remembering(last_mono_s=NOW.mono_s - ago_s))[1].vetoes
    assert ("after-a-gap" in vetoes) is is_off


@pytest.mark.parametrize(
    ("beer_c", "vetoes"),
    [(35.5, ("heat-lately",)), (35.51, ()), (34.5, ("heat-lately",))],
)
def test_half_a_kelvin_too_warm_is_not_yet_worth_the_fan_after_heat(
    beer_c: float, vetoes: tuple[str, ...]
) -> None:
    c = replace(with_beer(beer_c), memory=replace(CALM, heat_ran_s=NOW.mono_s - 60.0))
    assert allowed(c)[1].vetoes == vetoes


@pytest.mark.parametrize(
    ("beer_c", "vetoes"),
    [(34.5, ("fan-lately",)), (34.49, ()), (35.5, ("fan-lately",))],
)
def test_half_a_kelvin_too_cold_is_not_yet_worth_heat_after_the_fan(
    beer_c: float, vetoes: tuple[str, ...]
) -> None:
    c = replace(with_beer(beer_c), memory=replace(CALM, fan_ran_s=NOW.mono_s - 60.0))
    assert allowed(c)[1].vetoes == vetoes


def test_a_run_under_way_is_not_cut_and_one_that_ended_a_moment_ago_counts() -> None:
    both = remembering(heat_ran_s=NOW.mono_s - 0.5, fan_ran_s=NOW.mono_s - 60.0)
    assert "fan-lately" in allowed(both)[1].vetoes
    assert "fan-lately" not in allowed(both, Applied(heat=True))[1].vetoes
    both = remembering(fan_ran_s=NOW.mono_s - 0.5, heat_ran_s=NOW.mono_s - 60.0)
    assert "heat-lately" in allowed(both)[1].vetoes
    assert "heat-lately" not in allowed(both, Applied(fan=True))[1].vetoes


def test_without_a_target_or_a_reading_nothing_is_above_it() -> None:
    assert replace(WELL, target=None).above_k == 0.0
    assert with_beer(None).above_k == 0.0
    blind = replace(WELL, evidence=Evidence(beer=sensed(99.0)), target=Target(35.0, 36.0))
    assert blind.above_k == 63.0


@pytest.mark.parametrize(
    ("limit", "value", "is_taken"),
    [
        ("beer_c_max", 48.0, True),
        ("beer_c_max", 48.1, False),
        ("beer_c_max", 36.5, True),
        ("beer_c_max", 9.9, False),
        ("pad_c_max", 75.0, True),
        ("pad_c_max", 75.1, False),
        ("pad_c_max", 30.0, True),
        ("pad_c_max", 29.9, False),
    ],
)
def test_no_setting_moves_a_limit_beyond_what_is_sane(
    limit: str, value: float, is_taken: bool
) -> None:
    text = SETTINGS.format(target_c=35.0) + f"[limits]\n{limit} = {value}\n"
    if is_taken:
        assert getattr(parse(text, Path()).limits, limit) == value
        return
    with pytest.raises(SettingsError, match=limit):
        parse(text, Path())


@pytest.mark.parametrize(("limit_c", "is_taken"), [(36.0, True), (35.9, False)])
def test_a_target_keeps_a_kelvin_below_the_limit(limit_c: float, is_taken: bool) -> None:
    text = SETTINGS.format(target_c=35.0) + f"[limits]\nbeer_c_max = {limit_c}\n"
    if is_taken:
        assert parse(text, Path()).limits.beer_c_max == 35.0 + LIMIT_MARGIN_K
        return
    with pytest.raises(SettingsError):
        parse(text, Path())


def test_the_lowest_limit_of_the_beer_is_ten_degrees() -> None:
    (field,) = [each for each in fields(InterlockSettings) if each.name == "beer_c_max"]
    assert "10" in repr(field.metadata)


def test_a_tick_that_switches_nothing_remembers_nothing_new() -> None:
    memory, _ = interlocks.grant(
        CALM, Permits(Permit.FREE, Permit.FREE), Wanted(), Applied(), Moment(5.0, 0.0)
    )
    assert memory is CALM


def test_a_fall_that_somebody_released_is_no_longer_remembered() -> None:
    gone = probe_return.Fallen(35.0, NOW.mono_s - 60.0)
    memory, _ = allowed(remembering(fallen=gone))
    assert memory.fallen is None
    memory, _ = allowed(remembering(fallen=gone, trips=("fall-too-fast",)))
    assert memory.fallen is not None


def test_a_fall_all_at_once_never_ends_by_itself() -> None:
    fell = replace(WELL, findings=(Finding.FALL_TOO_FAST,))
    memory, _ = allowed(fell)
    assert memory.trips == ("fall-too-fast",)
    assert memory.fallen is None
    slid = replace(sensed(31.0), change_k=-4.0)
    memory, _ = allowed(replace(fell, evidence=replace(fell.evidence, beer=slid)))
    assert memory.fallen == probe_return.Fallen(35.0, NOW.mono_s)
