"""What `barmkeep check` says of the machine itself; probes and pins have tests of their own."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller import check
from controller.settings import load

EXAMPLE = load(Path(__file__).parents[2] / "systemd" / "chamber.example.toml")


def test_a_full_config_txt_is_well_and_each_line_that_is_missing_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = tmp_path / "config.txt"
    monkeypatch.setattr(check, "CONFIG_FILES", (tmp_path / "none", config))
    config.write_text("dtoverlay=w1-gpio\ngpio=17,27=op,dl\ndtparam=strict_gpiod\n")
    assert [each.is_well for each in check._boot(EXAMPLE)] == [True]
    config.write_text("dtoverlay=w1-gpio,pullup\n")
    told = list(check._boot(EXAMPLE))
    assert [each.is_well for each in told] == [False, False, False]
    assert "gpio=17,27=op,dl" in told[0].remedy
    assert "take it out" in told[2].remedy


def test_on_a_machine_without_config_txt_nothing_is_said_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check, "CONFIG_FILES", (tmp_path / "none",))
    assert list(check._boot(EXAMPLE)) == []


@pytest.mark.parametrize(
    ("state", "is_well"), [("active", True), ("inactive", False), (None, False)]
)
def test_a_hardware_watchdog_counts_only_when_somebody_feeds_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, state: str | None, is_well: bool
) -> None:
    monkeypatch.setattr(check, "WATCHDOG", tmp_path)
    if state is not None:
        (tmp_path / "state").write_text(state + "\n")
        (tmp_path / "timeout").write_text("14\n")
    (found,) = check._watchdog(EXAMPLE)
    assert found.is_well is is_well


def test_what_is_to_be_mended_has_its_remedy_below_it() -> None:
    said: list[str] = []
    found = [check.Found("one", "fine"), check.Found("two", "loose", "Tighten it.")]
    assert not check.table(iter(found), said.append)
    assert said == ["well  one: fine", "MEND  two: loose", "      -> Tighten it."]
