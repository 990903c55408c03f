"""The safety page: every code has its hazard, and it says where software ends.

The table itself is tested in tests/test_hazards.py.
"""

from __future__ import annotations

import re
from pathlib import Path

from controller.decision import alarm_rules, interlock_rules

ROOT = Path(__file__).parents[2]
SAFETY = (ROOT / "hardware" / "SAFETY.md").read_text()
CODES = {rule.code for rule in (*interlock_rules.RULES, *alarm_rules.RULES)}


def test_no_code_is_named_that_does_not_exist() -> None:
    named = set(re.findall(r"`([a-z]+(?:-[a-z]+)+)`", SAFETY))
    assert named <= CODES
    assert {code for code in CODES if "-" in code} <= named


def test_it_says_what_software_cannot_do_and_whom_to_ask() -> None:
    assert "## What the software cannot protect you from" in SAFETY
    for words in (
        "local electrical code",
        "licensed electrician",
        "thermal cut-out",
        "GFCI",
        "RCD",
    ):
        assert words in SAFETY
