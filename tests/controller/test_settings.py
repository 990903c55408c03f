"""A whole settings file: what is read, and how everything wrong with it is told at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.errors import DiskError, SettingsError
from controller.settings import OPTIONAL_TABLES, TABLES, load, parse

EXAMPLE = Path(__file__).parent.parent.parent / "systemd" / "chamber.example.toml"
GOOD = """
[chamber]
name = "left"
[vessel]
volume_l = 20
pad_w = 60
[probes]
beer = "28-0316a2791aff"
garage = "28-0316a2791b00"
[relays]
heat_gpio = 17
[batch]
name = "winter one"
target_c = 35
"""


def test_a_short_file_is_enough() -> None:
    settings = parse(GOOD, Path())
    assert settings.chamber.tick_s == 10.0
    assert settings.broker is None
    assert settings.profile is not None
    assert settings.profile.steps[0].start_c == 35.0
    assert settings.plan().regulator.vessel.pad_w == 60.0


def test_the_shipped_example_is_right(tmp_path: Path) -> None:
    settings = load(EXAMPLE)
    assert settings.batch is not None
    assert settings.profile is not None
    assert min(step.start_c for step in settings.profile.steps) >= 32.0


def test_the_shipped_example_names_every_setting() -> None:
    text = EXAMPLE.read_text()
    for table, kind in TABLES.items():
        assert f"[{table}]" in text
        for name in kind.__dataclass_fields__:
            assert f"{name} =" in text, f"{table}.{name}"


def test_everything_wrong_is_told_at_once() -> None:
    bad = (
        GOOD.replace('beer = "28-0316a2791aff"\n', "")
        .replace("target_c = 35", "target_c = 350")
        .replace("pad_w = 60", "pad_watts = 60")
        + "[limits]\nbeer_c_max = 107\n"
    )
    with pytest.raises(SettingsError) as told:
        parse(bad, Path())
    for part in (
        "probes.beer: missing",
        "batch.target_c: too great (350",
        "vessel.pad_watts: unknown setting",
        "did you mean pad_w?",
        "vessel.pad_w: missing",
        "limits.beer_c_max: too great (107",
        "if 107 is °F, write 41.7 (°C)",
    ):
        assert part in told.value.what
    assert told.value.remedy


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ('name = "left"', 'name = "Left Side"', "cannot be a chamber's name"),
        ("target_c = 35", "", "either target_c or profile"),
        ("target_c = 35", 'target_c = 35\nprofile = "hot-kveik"', "either target_c or profile"),
        ("target_c = 35", 'profile = "no-such"', "no-such"),
        ('name = "winter one"', 'name = " "', "name: it is empty"),
        ("target_c = 35", "target_c = 44", "limits.beer_c_max"),
        ("pad_w = 60", "pad_w = 2000", "faster than a probe"),
        ("heat_gpio = 17", "heat_gpio = 17\nfan_gpio = 17", "both 17"),
        ("target_c = 35", "target_c = true", "not a number"),
        ("target_c = 35", "target_c = nan", "not a number"),
    ],
)
def test_what_is_refused(old: str, new: str, part: str) -> None:
    assert old in GOOD
    with pytest.raises(SettingsError) as told:
        parse(GOOD.replace(old, new), Path())
    assert part in told.value.what


def test_a_bad_profile_is_told_together_with_a_bad_file(tmp_path: Path) -> None:
    profile = tmp_path / "hot.json"
    profile.write_text(
        '{"beerjson": {"version": 2.06, "fermentations": [{"name": "Hot", "fermentation_steps": '
        '[{"name": "a", "start_temperature": {"unit": "C", "value": 95}}]}]}}'
    )
    text = GOOD.replace("target_c = 35", 'profile = "hot.json"').replace("heat_gpio", "heat_pin")
    with pytest.raises(SettingsError) as told:
        parse(text, tmp_path)
    assert "35.0 °C" in told.value.what
    assert "heat_pin" in told.value.what


def test_a_profile_is_found_beside_the_file(tmp_path: Path) -> None:
    (tmp_path / "chamber.toml").write_text(
        GOOD.replace("target_c = 35", 'profile = "mine.json"'), encoding="utf-8"
    )
    (tmp_path / "mine.json").write_text(
        '{"beerjson": {"version": 2.06, "fermentations": [{"name": "Mine", "fermentation_steps": '
        '[{"name": "a", "start_temperature": {"unit": "F", "value": 95}}]}]}}'
    )
    profile = load(tmp_path / "chamber.toml").profile
    assert profile is not None
    assert profile.steps[0].start_c == pytest.approx(35.0)


def test_text_that_is_no_toml_is_refused_and_a_missing_file_too(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="not TOML"):
        parse("[chamber", Path())
    with pytest.raises(DiskError, match="no settings file"):
        load(tmp_path / "none.toml")


def test_optional_tables_are_tables() -> None:
    assert set(OPTIONAL_TABLES) < set(TABLES)
