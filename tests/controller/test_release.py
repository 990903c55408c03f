"""Releasing a trip of a service: at the machine, once, and not in the middle of a night."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller import release
from controller.decision.vocabulary import Moment
from controller.errors import DiskError, SettingsError

NOW = Moment(1000.0, 1.8e9)


def left(folder: Path, age_s: float, *codes: str) -> None:
    (folder / "left.pins").write_text("17 high\n")
    release.leave_note(folder, "left", codes)
    os.utime(folder / "left.release", (NOW.utc_s - age_s,) * 2)


def test_a_note_is_taken_once(tmp_path: Path) -> None:
    left(tmp_path, 5.0, "beer-too-hot", "heat-while-off")
    assert release.taken_note(tmp_path, "left", NOW) == ("beer-too-hot", "heat-while-off")
    assert release.taken_note(tmp_path, "left", NOW) == ()


@pytest.mark.parametrize("age_s", [601.0, 90_000.0, -3600.0])
def test_a_note_that_was_forgotten_or_comes_from_the_future_releases_nothing(
    tmp_path: Path, age_s: float
) -> None:
    left(tmp_path, age_s, "beer-too-hot")
    assert release.taken_note(tmp_path, "left", NOW) == ()
    assert not (tmp_path / "left.release").exists()


def test_the_note_of_another_chamber_is_left_alone(tmp_path: Path) -> None:
    left(tmp_path, 5.0, "beer-too-hot")
    assert release.taken_note(tmp_path, "right", NOW) == ()
    assert (tmp_path / "left.release").exists()


@pytest.mark.parametrize("code", ["nonsense", "heat-dwell", ""])
def test_what_is_no_trip_is_refused(tmp_path: Path, code: str) -> None:
    with pytest.raises(SettingsError, match="beer-too-hot"):
        left(tmp_path, 5.0, code)


def test_a_chamber_that_never_ran_here_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DiskError, match="start its service"):
        release.leave_note(tmp_path, "left", ["beer-too-hot"])


def test_a_damaged_note_releases_nothing(tmp_path: Path) -> None:
    (tmp_path / "left.release").write_bytes(b"\xff\x00beer-too-hot" * 500)
    os.utime(tmp_path / "left.release", (NOW.utc_s,) * 2)
    assert release.taken_note(tmp_path, "left", NOW) == ()
