"""What orders left standing survives restarts, damage and a full disk; nothing old comes back."""

from __future__ import annotations

import json
import zlib
from pathlib import Path

import pytest

from controller.decision.profile import Begun, Profile, Step
from controller.edge.orders import LOOKED_AT_MAX, RATE_S
from controller.edge.standing import (
    ANSWERS_MAX,
    BEFORE_NAME,
    FILE_NAME,
    Standing,
)
from controller.order_kinds import TTL_S_MAX
from controller.wire import Reply
from tests.controller.edge.lines import full_disk

WARM = Profile(
    "Warm", (Step("rise", 30.0, 36.0, 7200.0, None, True), Step("hold", 36.0, 36.0, None, 1.012))
)
BEGUN = Begun("id-1", "two", WARM, 1.7e9)


def reply(name: str = "id-1", utc_s: float = 1.7e9) -> Reply:
    return Reply("left", name, True, "Done.", utc_s)


def test_what_was_begun_and_answered_is_there_after_a_restart(tmp_path: Path) -> None:
    assert Standing(tmp_path, "one").begun is None
    assert Standing(tmp_path, "one").keep(BEGUN, reply(), 1.7e9)
    again = Standing(tmp_path, "one")
    assert (again.begun, again.answers, again.newest_utc_s) == (BEGUN, {"id-1": reply()}, 1.7e9)
    assert again.trouble is None


def test_what_was_ended_stays_ended_and_a_new_name_in_the_settings_counts(tmp_path: Path) -> None:
    Standing(tmp_path, "one").keep(Begun("id-2"), reply("id-2"), 1.7e9)
    assert Standing(tmp_path, "one").begun == Begun("id-2")
    changed = Standing(tmp_path, "three")
    assert changed.begun is None
    assert changed.answers == {"id-2": reply("id-2")}
    assert changed.keep(None, reply("id-3"), 1.7e9)
    assert Standing(tmp_path, "one").begun is None


@pytest.mark.parametrize("damage", [b"", b"\0" * 400, b"deadbeef {}\n", b"{", None])
def test_a_damaged_file_is_told_and_the_one_before_it_counts(
    tmp_path: Path, damage: bytes | None
) -> None:
    standing = Standing(tmp_path, "one")
    standing.keep(BEGUN, reply(), 1.7e9)
    standing.keep(BEGUN, reply("id-2"), 1.7e9)
    path = tmp_path / FILE_NAME
    path.write_bytes(path.read_bytes()[:-9] if damage is None else damage)
    again = Standing(tmp_path, "one")
    assert again.begun == BEGUN
    assert list(again.answers) == ["id-1"]
    assert again.trouble is not None and "settings count" in again.trouble
    (tmp_path / BEFORE_NAME).write_bytes(b"\xff")
    assert Standing(tmp_path, "one").begun is None


def test_a_power_cut_at_any_step_leaves_the_old_or_the_new(tmp_path: Path) -> None:
    standing = Standing(tmp_path, "one")
    standing.keep(None, reply("id-0"), 1.7e9)
    old = (tmp_path / FILE_NAME).read_bytes()
    standing.keep(BEGUN, reply(), 1.7e9)
    new = (tmp_path / FILE_NAME).read_bytes()
    for cut in range(0, len(new), 41):
        for name in (FILE_NAME, BEFORE_NAME):
            (tmp_path / name).unlink(missing_ok=True)
        # The new one half written beside the old one, then the old one moved aside and no more.
        (tmp_path / f"{FILE_NAME}.new").write_bytes(new[:cut])
        (tmp_path / FILE_NAME).write_bytes(old)
        assert Standing(tmp_path, "one").begun is None
        (tmp_path / FILE_NAME).rename(tmp_path / BEFORE_NAME)
        assert list(Standing(tmp_path, "one").answers) == ["id-0"]


@pytest.mark.parametrize(
    "change",
    [
        {"answers": 7}, {"answers": ["{}"]}, {"newest_utc_s": "x"}, {"begun": {"id": "x"}},
        {"begun": {"id": "x", "batch": "y", "procedure": "{}", "pitched_utc_s": 1.0}},
    ],
)  # fmt: skip
def test_a_whole_file_that_makes_no_sense_never_stops_a_start(
    tmp_path: Path, change: dict[str, object]
) -> None:
    Standing(tmp_path, "one").keep(BEGUN, reply(), 1.7e9)
    path = tmp_path / FILE_NAME
    body = json.dumps(json.loads(path.read_text().partition(" ")[2]) | change)
    path.write_text(f"{zlib.crc32(body.encode()):08x} {body}\n")
    again = Standing(tmp_path, "one")
    assert (again.begun, again.answers) == (None, {})
    assert again.trouble is not None


def test_on_a_full_disk_nothing_is_begun_but_answers_are_remembered(tmp_path: Path) -> None:
    standing = Standing(tmp_path, "one")
    with full_disk(tmp_path, 0):
        assert not standing.keep(BEGUN, reply(), 1.7e9)
    assert standing.begun is None
    assert standing.answers == {"id-1": reply()}
    assert standing.keep(None, reply("id-2"), 1.7e9)
    assert list(Standing(tmp_path, "one").answers) == ["id-1", "id-2"]


def test_answers_are_few_and_the_oldest_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    standing = Standing(tmp_path, "one")
    monkeypatch.setattr(standing, "_save", lambda _begun: None)
    for number in range(ANSWERS_MAX + 5):
        standing.keep(None, reply(f"id-{number}", -1e9 if number % 2 else 1.7e9), 1.7e9)
    assert len(standing.answers) == ANSWERS_MAX
    assert "id-4" not in standing.answers and "id-5" in standing.answers


def test_more_can_never_be_answered_than_is_remembered_while_an_order_lives() -> None:
    assert LOOKED_AT_MAX * TTL_S_MAX / RATE_S < ANSWERS_MAX


def test_a_time_that_lies_ahead_of_a_good_clock_is_forgotten(tmp_path: Path) -> None:
    standing = Standing(tmp_path, "one")
    standing.keep(None, reply(), 9e9)
    standing.trust_clock(1.7e9)
    assert standing.newest_utc_s == 1.7e9
