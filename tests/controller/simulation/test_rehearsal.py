"""Before pitching: can this pad hold this profile in the garage that is forecast?"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from controller.__main__ import main
from controller.errors import SettingsError
from controller.simulation.rehearsal import learned_in, rehearse
from controller.simulation.simulate import Garage, Show
from controller.thermal.learned import Learned
from tests.controller.test_vessel_report import written
from tests.controller.thermal.vessels import Vessel
from tests.scenarios.garage import SETTINGS, settings

TEN_KEYS = {
    "within_03k", "rmse_k", "overshoot_k", "warmup_h", "edges_per_h", "energy_kwh",
    "heat_and_fan_together_s", "alarms", "ticks", "wall_s",
}  # fmt: skip
LEARNED = Learned(0.85, 0.05, 60.0, 3.3, 86_000.0, 400.0, 30.0, 0.0, 0.5, 27.0, 60.0)


def rehearsed(tmp_path: Path, garage_c: float, learned: Learned) -> dict[str, float | int | None]:
    garage = Garage(
        course=((0.0, garage_c), (48.0, garage_c)),
        learned=learned,
        start_c=34.0,
        original_plato=2.8,
    )
    return rehearse(settings(35.0), garage, Show(days=0.5, journal=tmp_path))


def test_a_pad_strong_enough_holds_the_profile_at_a_known_cost(tmp_path: Path) -> None:
    score = rehearsed(tmp_path, 5.0, LEARNED)
    assert score["can_hold"] is True and score["can_hold_at_worst"] is True
    assert score["not_held_h"] == 0.0
    # Twelve hours of 0.85 W/K over 30 K are 0.31 kWh, and a kelvin of warm-up 0.024 kWh.
    assert score["energy_kwh"] == pytest.approx(0.31 + 0.024, abs=0.03)


def test_a_pad_too_weak_is_told_with_the_hours_it_fails(tmp_path: Path) -> None:
    weak = replace(LEARNED, loss_w_per_k=2.2, loss_sd_w_per_k=0.13)
    score = rehearsed(tmp_path, -5.0, weak)
    assert score["can_hold"] is False
    assert isinstance(score["not_held_h"], float) and score["not_held_h"] > 10.0


def test_what_holds_as_it_likely_is_may_fail_as_leaky_as_it_may_be(tmp_path: Path) -> None:
    # 60 W hold 35 °C down to -25 °C at 1.0 W/K; not at the upper end of a wide interval.
    unsure = replace(LEARNED, loss_w_per_k=1.0, loss_sd_w_per_k=0.2)
    score = rehearsed(tmp_path, -19.0, unsure)
    assert score["can_hold_at_worst"] is False
    assert score["lowest_below_k"] is not None


def test_the_command_keeps_its_ten_keys_and_adds_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "test.toml"
    file.write_text(SETTINGS.format(target_c=35.0))
    written(tmp_path / "journal", Vessel(), 8.0)
    command = ["simulate", "--settings", str(file), "--learned", str(tmp_path / "journal")]
    rehearsal = [*command, "--forecast", "-4/6", "--days", "0.1", "--start-c", "34.8"]
    assert main([*rehearsal, "--json"]) == 0
    score = json.loads(capsys.readouterr().out)
    added = {"can_hold", "not_held_h", "lowest_below_k"}
    worst = {"can_hold_at_worst", "not_held_at_worst_h", "energy_at_worst_kwh"}
    assert set(score) == TEN_KEYS | added | worst
    assert main(rehearsal) == 0
    assert "the profile can be held" in capsys.readouterr().out


def test_a_forecast_alone_is_rehearsed_with_the_vessel_as_described(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["simulate", "--forecast=2/9", "--days", "0.05", "--json"]) == 0
    assert "can_hold_at_worst" not in json.loads(capsys.readouterr().out)


def test_it_lasts_as_long_as_the_forecast_and_never_goes_on_live(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["simulate", "--forecast", "2/9", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ticks"] == 8641
    assert main(["simulate", "--forecast", "2/9", "--then-live"]) == 2
    assert main(["simulate", "--days", "0"]) == 2


def test_a_journal_of_another_vessel_is_refused(tmp_path: Path) -> None:
    written(tmp_path / "journal", Vessel(loss_w_per_k=0.9), 3.0)
    here = settings(35.0)
    assert learned_in(tmp_path / "journal", here).loss_w_per_k > 0.4
    other = replace(here, vessel=replace(here.vessel, volume_l=10.0))
    with pytest.raises(SettingsError, match="another vessel"):
        learned_in(tmp_path / "journal", other)


def test_an_old_journal_is_read_with_the_settings(tmp_path: Path) -> None:
    written(tmp_path / "journal", Vessel(), 3.0, lambda tick: replace(tick, vessel=None))
    assert learned_in(tmp_path / "journal", settings(35.0)).hours > 2.0
