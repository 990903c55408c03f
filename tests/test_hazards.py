"""The hazard table: every hazard has a row, every row a test, every measuring test a row."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.hazards import ROOT, Hazard, table

# Source: the project's own list of sixty hazards; those above were found since.
HAZARDS_MIN = 60
ROWS = table()
_BY_A_PERSON = ("by a person",)


def test_every_hazard_has_its_row_and_no_number_is_missing() -> None:
    assert list(ROWS) == list(range(1, len(ROWS) + 1))
    assert len(ROWS) >= HAZARDS_MIN


@pytest.mark.parametrize("row", ROWS.values(), ids=lambda row: str(row.number))
def test_each_row_names_tests_that_exist_or_says_why_there_is_none(row: Hazard) -> None:
    for cell in (row.hazard, row.response, row.beyond, row.limit, row.seen, row.proof):
        assert cell
    if not row.proofs:
        assert row.seen.startswith(_BY_A_PERSON), "neither a test nor a person proves it"
        return
    for path, name in row.proofs:
        assert re.search(rf"^def {name}\(", (ROOT / path).read_text(), re.M), f"{path}::{name}"


@pytest.mark.parametrize("row", ROWS.values(), ids=lambda row: str(row.number))
def test_what_was_seen_is_within_the_limit_or_admitted_to_be_over(row: Hazard) -> None:
    if row.limit_s is not None and row.seen_s is not None:
        assert row.is_over is (row.seen_s > row.limit_s)


def marked() -> Iterator[tuple[int, str, str]]:
    """Each hazard a test is marked with: its number, the test's file and its name."""
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef):
                for number in re.findall(r"mark\.hazard\((\d+)\)", _decorators(path, node)):
                    yield int(number), str(path.relative_to(ROOT)), node.name


def _decorators(path: Path, node: ast.FunctionDef) -> str:
    return "\n".join(ast.unparse(each) for each in node.decorator_list)


@pytest.mark.parametrize(("number", "path", "name"), sorted(set(marked())))
def test_each_test_that_measures_a_hazard_stands_in_its_row(
    number: int, path: str, name: str
) -> None:
    assert (path, name) in ROWS[number].proofs
