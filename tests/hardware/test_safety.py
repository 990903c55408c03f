"""The safety page: numbered without a gap, complete, and every proof it names exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from controller.decision import alarm_rules, interlock_rules

ROOT = Path(__file__).parents[2]
SAFETY = (ROOT / "hardware" / "SAFETY.md").read_text()
HAZARDS = re.split(r"^\*\*(?=\d+\. )", SAFETY, flags=re.M)[1:]
CODES = {rule.code for rule in (*interlock_rules.RULES, *alarm_rules.RULES)}
PROOFS = sorted(set(re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", SAFETY)))


def test_hazards_are_numbered_without_a_gap() -> None:
    numbers = [int(hazard.split(".")[0]) for hazard in HAZARDS]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= 30


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda text: text.split(".")[0])
def test_each_hazard_says_what_is_done_what_stands_behind_it_and_how_it_is_proven(
    hazard: str,
) -> None:
    body = hazard.split("\n###")[0]
    for part in ("\n- barmkeep", "\n- Beyond software:", "\n- Proof:"):
        assert part in body
    assert "\n- How soon:" in body or "\n- barmkeep: nothing." in body


def test_no_code_is_named_that_does_not_exist() -> None:
    named = set(re.findall(r"`([a-z]+(?:-[a-z]+)+)`", SAFETY))
    assert named <= CODES
    assert {code for code in CODES if "-" in code} <= named


@pytest.mark.parametrize(("path", "name"), PROOFS)
def test_each_proof_exists(path: str, name: str) -> None:
    assert re.search(rf"^def {name}\(", (ROOT / path).read_text(), re.M)


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
