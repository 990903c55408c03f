"""`barmkeep learn`: a vessel learned once more from its journal, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller import wire
from controller.__main__ import main
from controller.errors import BarmkeepError
from controller.relearn import Relearned, relearned
from controller.thermal.model import VesselSettings
from controller.vessel_report import COLUMNS, lines
from tests.controller.thermal.vessels import Vessel, batch

BARE = wire.Tick("left", "0001-aaaa", 1, 1.8e9, 10.0, True, "hold", 0.0, False, False)
SETTINGS = """
[chamber]
name = "left"
[vessel]
volume_l = 20
pad_w = 60
[probes]
beer = "28-00000a1b2c01"
[relays]
heat_gpio = 17
[journal]
folder = "{folder}"
"""
Change = Callable[[wire.Tick], wire.Tick]


def written(folder: Path, vessel: Vessel, hours: float, change: Change = lambda tick: tick) -> None:
    """What a controller with this vessel would have written, as one file of its journal."""
    rows: list[str] = []
    boot = f"{len(list(folder.iterdir())) + 1 if folder.exists() else 1:04d}-aaaa"
    for seq in range(1, round(hours * 360) + 1):
        vessel.turn()
        garage_c = vessel.garage_c(vessel.mono_s)
        tick = replace(
            BARE,
            boot=boot,
            seq=seq,
            mono_s=vessel.mono_s,
            heat=vessel.heat,
            beer_c=round(vessel.well_c * 16.0) / 16.0,
            garage_c=garage_c if vessel.has_garage else None,
            offset_k={"beer": 0.0, "garage": 0.0} if vessel.has_garage else {"beer": 0.0},
            target_c=vessel.target_c,
            vessel=vessel.said.in_words(),
        )
        rows.append(wire.encode(change(tick)))
    folder.mkdir(exist_ok=True)
    (folder / f"{boot}.00000001.2026-01-15.jsonl").write_text("\n".join(rows) + "\n")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("journal") / "left"
    written(folder, Vessel(ferment_w=batch(20.0)), 60.0)
    return folder


def test_a_journal_tells_what_the_running_chamber_learned(folder: Path) -> None:
    found = relearned(folder, 14.0, None)
    assert found.described == VesselSettings(20.0, 60.0)
    assert found.learned.loss_w_per_k == pytest.approx(0.85, rel=0.1)
    assert found.learned.hours == pytest.approx(60.0, abs=1.0)
    assert found.target_c == 35.0
    assert found.coldest_c == pytest.approx(-1.0, abs=0.1)
    assert [point.hours for point in found.points] == sorted(point.hours for point in found.points)


def test_the_report_names_numbers_intervals_and_what_the_pad_can_do(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["learn", str(folder)]) == 0
    text = capsys.readouterr().out
    assert "20 L, 60 W, good; learned from 60 h" in text
    assert "W/K" in text and "95 %" in text and "kJ/K" in text
    assert "It holds 35.0 °C down to a garage of -3" in text
    assert "Nothing in the settings need change." in text
    picture = [line for line in text.splitlines() if "│" in line]
    assert len(picture) == 10
    assert max(len(line.split("│")[1]) for line in picture) <= COLUMNS
    assert any("█" in line and "░" in line for line in picture)


def test_a_wrong_description_a_weak_pad_and_a_cold_garage_are_advised_on(tmp_path: Path) -> None:
    vessel = Vessel(loss_w_per_k=2.2, pad_w=45.0, target_c=25.0, start_c=22.0)
    written(tmp_path / "left", vessel, 30.0)
    text = "\n".join(lines(relearned(tmp_path / "left", 14.0, None)))
    assert 'vessel.jacket = "thin"' in text
    assert "% of vessel.pad_w" in text
    assert "choose a listed pad of about" in text


def test_heat_that_comes_late_is_advised_on(folder: Path) -> None:
    found = relearned(folder, 14.0, None)
    late = replace(found, learned=replace(found.learned, delay_s=900.0), target_c=None)
    text = "\n".join(lines(late))
    assert "press it flat" in text
    assert "down to a garage" not in text


def test_without_a_garage_probe_the_ferment_is_left_open(tmp_path: Path) -> None:
    written(tmp_path / "left", Vessel(has_garage=False, start_c=25.0), 12.0)
    found = relearned(tmp_path / "left", 14.0, None)
    text = "\n".join(lines(found))
    assert "not known without a garage probe" in text
    assert found.coldest_c is None


def test_too_little_to_draw_is_not_drawn(folder: Path) -> None:
    found = relearned(folder, 14.0, None)
    assert "│" not in "\n".join(lines(replace(found, points=found.points[:1])))


def test_a_new_boot_does_not_count_what_lies_between(tmp_path: Path) -> None:
    vessel = Vessel()
    written(tmp_path / "left", vessel, 12.0)
    vessel.mono_s = 5.0
    written(tmp_path / "left", vessel, 12.0)
    found = relearned(tmp_path / "left", 14.0, None)
    assert found.learned.hours == pytest.approx(24.0, abs=1.5)
    assert found.learned.loss_w_per_k == pytest.approx(0.85, rel=0.12)


def test_another_vessel_in_the_journal_begins_anew(tmp_path: Path) -> None:
    written(tmp_path / "left", Vessel(), 6.0)
    other = Vessel(VesselSettings(10.0, 60.0), 0.55)
    written(tmp_path / "left", other, 6.0)
    found = relearned(tmp_path / "left", 14.0, None)
    assert found.described == VesselSettings(10.0, 60.0)
    assert found.learned.hours < 7.0


def test_an_old_journal_needs_the_settings(tmp_path: Path) -> None:
    def silent(tick: wire.Tick) -> wire.Tick:
        return replace(tick, vessel=None)

    written(tmp_path / "left", Vessel(), 6.0, silent)
    with pytest.raises(BarmkeepError, match="does not say what vessel"):
        relearned(tmp_path / "left", 14.0, None)
    found = relearned(tmp_path / "left", 14.0, VesselSettings(20.0, 60.0))
    assert isinstance(found, Relearned)


def test_what_cannot_be_read_is_told_with_its_remedy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["learn", str(tmp_path / "nowhere")]) == 2
    assert "Name the folder of one chamber" in capsys.readouterr().err
    written(tmp_path / "left", Vessel(), 0.1)
    assert main(["learn", str(tmp_path / "left")]) == 2
    assert "Nothing has been learned yet" in capsys.readouterr().err
    assert main(["learn"]) == 2


def test_the_settings_say_where_the_journal_is_and_forgetting_leaves_a_note(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "left.toml"
    file.write_text(SETTINGS.format(folder=tmp_path))
    written(tmp_path / "left", Vessel(), 3.0)
    assert main(["learn", "--settings", str(file)]) == 0
    assert "20 L, 60 W, good" in capsys.readouterr().out
    assert main(["learn", "--forget", str(file)]) == 0
    assert (tmp_path / "left" / "forget-learned").exists()
    assert "learns its vessel anew" in capsys.readouterr().out
