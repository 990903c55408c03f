"""The example files of the dashboard: right as shipped, complete, and true about every range."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from controller.bounded import DECLARATION
from dashboard.settings import TABLES, settings_of

ROOT = Path(__file__).parents[2]
EXAMPLE = (ROOT / "systemd" / "dashboard.example.toml").read_text()


def section_of(table: str) -> str:
    return EXAMPLE[EXAMPLE.index(f"[{table}]") :].split("\n[")[0]


def test_the_dashboards_example_is_right_as_shipped() -> None:
    assert settings_of(EXAMPLE).web.host == "127.0.0.1"


def test_it_is_right_with_everything_it_only_proposes() -> None:
    everything = re.sub(r"^# ([a-z_]+ = )", r"\1", EXAMPLE, flags=re.M)
    assert everything != EXAMPLE
    assert settings_of(everything).broker.user == "dashboard"


@pytest.mark.parametrize(
    ("table", "name"),
    [(table, name) for table in TABLES for name in TABLES[table].__dataclass_fields__],
)
def test_every_setting_is_there_with_its_range(table: str, name: str) -> None:
    (line,) = re.findall(rf"^(?:# )?{name} = .*$", section_of(table), re.M)
    rules = TABLES[table].__dataclass_fields__[name].metadata[DECLARATION]
    for bound in (rules["low"], rules["high"]):
        assert bound is None or re.search(rf"\b{bound:g}\b", line.split("#", 1)[1]), line


@pytest.mark.parametrize("table", TABLES)
def test_what_is_proposed_as_a_default_is_the_default(table: str) -> None:
    shipped = getattr(settings_of(EXAMPLE), table)
    for name, declared in TABLES[table].__dataclass_fields__.items():
        if name != "path":
            assert getattr(shipped, name) == declared.default, name
