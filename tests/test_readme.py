"""The README and the guide say what is so: every command, setting and code they name exists."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from controller import __main__ as controller_commands
from controller.decision import alarms, interlock_rules
from controller.settings import TABLES
from dashboard import __main__ as dashboard_commands

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()
GUIDE = (ROOT / "DEVELOPERS.md").read_text()
BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)


def test_the_first_paragraph_is_the_job() -> None:
    paragraph = README.split("\n\n")[1]
    for word in ("barmkeep", "temperature", "garage", "dry hops", "attenuation"):
        assert word in paragraph


def test_the_first_screen_warns() -> None:
    top = " ".join(README[: README.index("```sh")].replace(">", " ").split())
    for word in ("mains", "thermal cut-out", "licensed electrician", "local code", "pressure"):
        assert word in top


def test_two_commands_come_first_and_each_is_one_line() -> None:
    assert [len(block.strip().splitlines()) for block in BLOCKS[:2]] == [1, 1]
    assert "barmkeep-dashboard demo" in BLOCKS[0]
    assert "pytest" in BLOCKS[1]


COMMANDS = re.findall(
    r"^\s*(?:sudo )?(?:\.venv/bin/)?(barmkeep(?:-dashboard)? .*)$", "\n".join(BLOCKS), re.M
)


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_shown_is_understood(line: str) -> None:
    program, *words = shlex.split(line.split("#")[0].replace("\\", ""))
    parser = (controller_commands if program == "barmkeep" else dashboard_commands)._parser()
    parser.parse_args(words)


def test_commands_are_shown_at_all() -> None:
    assert len(COMMANDS) >= 6


@pytest.mark.parametrize(
    "name", [f"{table}.{name}" for table in TABLES for name in TABLES[table].__dataclass_fields__]
)
def test_every_setting_is_explained(name: str) -> None:
    table, setting = name.split(".")
    example = (ROOT / "systemd" / "chamber.example.toml").read_text()
    section = example[example.index(f"[{table}]") :].split("\n[")[0]
    assert f"{setting} =" in section


@pytest.mark.parametrize(
    "code",
    [rule.code for rule in interlock_rules.RULES] + [rule.code for rule in alarms.RULES],
)
def test_every_interlock_and_alarm_is_in_the_safety_page(code: str) -> None:
    assert f"`{code}`" in (ROOT / "hardware" / "SAFETY.md").read_text()


def test_links_to_files_lead_somewhere() -> None:
    for text in (README, GUIDE):
        for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", text):
            assert (ROOT / target).exists(), target
