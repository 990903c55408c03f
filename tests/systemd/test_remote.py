"""The guide to watching from elsewhere: its commands are understood and its settings are right."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from dashboard.__main__ import _parser
from dashboard.access import passwords, slowing
from dashboard.access.entry import AGE_S_MAX, IDLE_S
from dashboard.access.roles import Role
from dashboard.settings import settings_of

GUIDE = (Path(__file__).parents[2] / "systemd" / "REMOTE.md").read_text()
DAY_S = 86_400


@pytest.mark.parametrize("line", re.findall(r"^.*bin/(barmkeep-dashboard .*)$", GUIDE, re.M))
def test_every_command_is_understood(line):
    _parser().parse_args(shlex.split(line)[1:])


@pytest.mark.parametrize("block", re.findall(r"```toml\n(.*?)```", GUIDE, re.S))
def test_every_settings_block_is_right_and_asks_for_a_name(block):
    found = settings_of('[store]\npath = "x"\n' + block)
    assert found.web.always_asks is True


def test_it_begins_with_the_port_that_is_never_forwarded():
    assert "Never forward a port" in GUIDE[:80]


def test_its_figures_are_the_programs():
    assert (IDLE_S, AGE_S_MAX) == (14 * DAY_S, 90 * DAY_S)  # a fortnight, ninety days
    assert slowing.FREE_MISSES == 5 and slowing.ACCOUNT_WAIT_S_MAX == 60
    assert slowing.ADDRESS_WAIT_S_MAX == 15 * 60
    assert passwords.WAITING_MAX > 0
    for role in (Role.LOOKER, Role.CHANGER):
        assert f"| `{role.value}` |" in GUIDE
