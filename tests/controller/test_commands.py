"""The command line as its user meets it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from controller.__main__ import main

KEYS = [
    "within_03k",
    "rmse_k",
    "overshoot_k",
    "warmup_h",
    "edges_per_h",
    "energy_kwh",
    "heat_and_fan_together_s",
    "alarms",
    "ticks",
    "wall_s",
]


def test_simulate_prints_one_object_with_the_agreed_keys(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    truth = tmp_path / "truth.jsonl"
    assert main(["simulate", "--days", "0.25", "--json", "--truth", str(truth)]) == 0
    score = json.loads(capsys.readouterr().out)
    assert list(score)[: len(KEYS)] == KEYS
    assert score["ticks"] == 2161
    hours = [json.loads(line) for line in truth.read_text().splitlines()]
    assert len(hours) == 7
    assert hours[0]["apparent_plato"] == pytest.approx(12.5, abs=0.2)


def test_simulate_tells_people_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "--days", "0.01", "--start-c", "10", "--seed", "5"]) == 0
    told = capsys.readouterr().out
    assert re.search(r"warm-up +never", told)
    assert re.search(r"relay switchings per hour", told)


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["simulate", "--days", "0"], "at most 400 days"),
        (["simulate", "--days", "nan"], "at most 400 days"),
        (["simulate", "--target-c", "95"], "35.0 (°C)"),
        (["simulate", "--jacket", "fur"], "good, thin, none"),
        (["simulate", "--fault", "beer-lost@3h"], "beer-missing"),
        (["simulate", "--profile", "none-such"], "none-such"),
        (["simulate", "--truth", "/no/such/folder/truth", "--days", "0.01"], "cannot be written"),
        (["run", "/no/such/file.toml"], "There is no settings file"),
        (["check", "/no/such/file.toml"], "There is no settings file"),
    ],
)
def test_what_cannot_be_done_says_what_to_do(
    words: list[str], part: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    told = capsys.readouterr().err
    assert part in told
    assert len(told.strip().splitlines()) >= 2


def test_bad_settings_are_all_listed_and_nothing_is_opened(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "chamber.toml"
    path.write_text(
        '[chamber]\nname = "left"\n[vessel]\nvolume_l = 20\npad_w = 60\nwarmth = 3\n'
        "[probes]\n[relays]\nheat_gpio = 17\n"
        f'[batch]\nname = "one"\ntarget_c = 350\n[journal]\nfolder = "{tmp_path / "j"}"\n'
        "[limits]\nbeer_c_max = 104\n"
    )
    assert main(["run", str(path)]) == 2
    told = capsys.readouterr().err
    for part in ("probes.beer: missing", "350", "vessel.warmth", "40.0 (°C)"):
        assert part in told
    assert not (tmp_path / "j").exists()


def test_check_lists_what_to_mend(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "chamber.toml"
    path.write_text(
        '[chamber]\nname = "left"\n[vessel]\nvolume_l = 20\npad_w = 60\n'
        f'[probes]\nbeer = "28-0316a2791aff"\nfolder = "{tmp_path / "bus"}"\n'
        "[relays]\nheat_gpio = 17\n"
        f'[journal]\nfolder = "{tmp_path / "j"}"\n[broker]\nport = 1\n'
    )
    assert main(["check", str(path)]) == 1
    told = capsys.readouterr().out
    assert "dtoverlay=w1-gpio" in told
    assert re.search(r"MEND  beer probe 28-0316a2791aff: missing", told)
    assert re.search(r"MEND  broker: localhost:1 does not answer", told)
    assert re.search(r"well  journal: ", told)
    assert told.count("->") >= 3


def test_assertions_cannot_be_switched_off() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "controller", "version"],
        env={"PYTHONOPTIMIZE": "1", "PATH": "/usr/bin"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode != 0
    assert "PYTHONOPTIMIZE" in done.stderr


def test_a_service_of_another_name_than_its_chamber_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    example = Path(__file__).parents[2] / "systemd" / "chamber.example.toml"
    assert main(["run", str(example), "--chamber", "garage-right"]) == 2
    assert "the same name" in capsys.readouterr().err
