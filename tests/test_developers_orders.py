"""The table of orders in the contributors' guide is the one the code obeys."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.order_kinds import ORDER_KINDS

GUIDE = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
ROWS = [line for line in GUIDE.splitlines() if line.startswith("| `")]


@pytest.mark.parametrize("kind", ORDER_KINDS, ids=lambda kind: kind.name)
def test_each_kind_of_order_stands_there_with_its_meaning_and_bounds(kind) -> None:
    (row,) = [line for line in ROWS if line.startswith(f"| `{kind.name}` |")]
    assert f"| {kind.meaning} |" in row
    for each in kind.arguments:
        bounds = (
            f"up to {each.high:g} characters" if each.is_text else f"{each.low:g} to {each.high:g}"
        )
        assert f"`{each.name}`{'' if each.required else '?'} ({bounds})" in row
