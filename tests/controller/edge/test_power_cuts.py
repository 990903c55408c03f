"""Power cuts at random bytes of the journal's writing: what was synced is there, once.

What a card keeps of a file that was not synced is anything: less of it, zeros in its place, other
bytes, a hole in the middle. A name that was just moved may be back where it was. The cut is made
by doing that to the files; the kernel's own order of things is not asked.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest

from controller import wire
from controller.edge.journal import Journal, JournalSettings, Outbox, writer
from controller.edge.journal.day_files import day_files, entries_in, message_in, pack
from controller.edge.journal.outbox import LOST_CODE
from controller.resume import Inherited, resumed
from controller.wire import Event, Tick
from tests.controller.edge.lines import event, moment, tick

CUTS, CUTS_FULL = 40, 240
STEP_S = 10.0


@dataclass
class Reader:
    """A dashboard: keeps each line once, and says how far it holds a boot without a gap."""

    lines: dict[tuple[str, int], wire.Line] = field(default_factory=dict)
    doubled: int = 0
    conflicting: int = 0

    def take(self, entries: list[object]) -> None:
        for entry in entries:
            line = message_in(entry.text.encode())  # type: ignore[attr-defined]
            assert line is not None
            known = self.lines.setdefault((line.boot, line.seq), line)
            self.doubled += known is not line
            is_lost = LOST_CODE in (getattr(known, "code", ""), getattr(line, "code", ""))
            self.conflicting += known != line and not is_lost

    def through(self, boot: str) -> int:
        seq = 0
        while (boot, seq + 1) in self.lines:
            seq += 1
        return seq


class Card:
    """A journal on a card that forgets what was not synced when the power goes."""

    def __init__(self, folder: Path, chance: Random, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.chance = folder, chance
        self.synced: dict[Path, int] = {}
        self.counts = {"cuts": 0, "written": 0, "synced": 0, "lost": 0}
        self.after_s = 0.0
        self.reader = Reader()
        monkeypatch.setattr(writer.os, "fdatasync", self._sync)

    def _sync(self, opened: int) -> None:
        path = Path(f"/proc/self/fd/{opened}").readlink()
        self.synced[path] = os.fstat(opened).st_size

    def life(self) -> None:
        """One start: what was there is resumed and delivered, more is written, the power goes."""
        chance = self.chance
        journal = Journal.open(self.folder, JournalSettings(), moment(self.after_s))
        self._resumes(journal)
        outbox = Outbox(journal)
        told = (self.folder / "delivered.json").exists()
        before = (self.folder / "delivered.json").read_bytes() if told else b""
        for _ in range(chance.randrange(1, 60)):
            self.after_s += STEP_S
            now, is_event = moment(self.after_s), chance.random() < 0.1
            made = event if is_event else self._tick
            journal.append([made(journal.boot, journal.next_seq, now)], now, urgent=is_event)
            self.counts["written"] += 1
            if chance.random() < 0.3:
                self.reader.take(list(outbox.take(chance.randrange(1, 200))))
                for boot in {boot for boot, _ in self.reader.lines}:
                    outbox.acknowledge(boot, self.reader.through(boot))
                outbox.save(now, urgent=chance.random() < 0.5)
        self.counts["cuts"] += 1
        self._cut(journal, before)

    def _tick(self, boot: str, seq: int, now: object) -> Tick:
        plain = tick(boot, seq, now)  # type: ignore[arg-type]
        fields = {name: getattr(plain, name) for name in plain.__slots__}
        return Tick(**(fields | {"batch": "b", "step": 1, "step_elapsed_s": self.after_s}))

    def _resumes(self, journal: Journal) -> None:
        """The step goes on where the newest synced tick left it, or later."""
        last = journal.last_tick()
        state = resumed(last, Inherited("b"), moment(self.after_s), ())
        newest = max((line.step_elapsed_s or 0.0 for line in self._synced_ticks()), default=0.0)
        assert state.profile.elapsed_s >= newest

    def _synced_ticks(self) -> list[Tick]:
        return [line for line in self.synced_lines if isinstance(line, Tick)]

    synced_lines: tuple[wire.Line, ...] = ()

    def _cut(self, journal: Journal, told_before: bytes) -> None:
        held: list[wire.Line] = list(self.synced_lines)
        for path, size in self.synced.items():
            if path.exists():
                held += [
                    m for row in path.read_bytes()[:size].split(b"\n") if (m := message_in(row))
                ]
        self.synced_lines = tuple({(line.boot, line.seq): line for line in held}.values())
        if journal._file is not None:
            path = Path(f"/proc/self/fd/{journal._file}").readlink()
            os.close(journal._file)
            self._forget(path)
        os.close(journal._lock)
        self._move_back(told_before)

    def _forget(self, path: Path) -> None:
        """What a card may make of the bytes that were not synced."""
        raw, safe, chance = path.read_bytes(), self.synced.get(path, 0), self.chance
        cut = chance.randint(safe, len(raw))
        kind = chance.choice(("shorter", "zeros", "garbage", "hole"))
        tail = raw[cut:]
        if kind == "zeros":
            kept = raw[:cut] + bytes(len(tail))
        elif kind == "garbage":
            kept = raw[:cut] + chance.randbytes(len(tail))
        elif kind == "hole":
            width = chance.randint(0, len(tail))
            kept = raw[:cut] + bytes(width) + tail[width:]
        else:
            kept = raw[:cut]
        path.write_bytes(kept)

    def _move_back(self, told_before: bytes) -> None:
        """Names that were moved without the folder being synced may be where they were."""
        chance, told = self.chance, self.folder / "delivered.json"
        if chance.random() < 0.3 and told_before:
            told.write_bytes(told_before)
        elif chance.random() < 0.1:
            told.write_bytes(chance.randbytes(20))
        plain = [each for each in day_files(self.folder) if not each.is_packed][:-1]
        if plain and chance.random() < 0.3:
            saved = plain[0].path.read_bytes()
            pack(plain[0])
            if chance.random() < 0.5:  # The plain file is back beside its packed form.
                plain[0].path.write_bytes(saved)
            if chance.random() < 0.5:
                (self.folder / (plain[0].path.name + ".gz.new")).write_bytes(saved[:100])

    def judge(self) -> dict[str, int]:
        """After a last start everything that was synced has reached the reader, once."""
        journal = Journal.open(self.folder, JournalSettings(), moment(self.after_s))
        outbox = Outbox(journal)
        while entries := outbox.take(500):
            self.reader.take(list(entries))
        journal.close(moment(self.after_s))
        lines = self.reader.lines
        lost = [each for each in self.synced_lines if lines.get((each.boot, each.seq)) != each]
        gaps = sum(seq > self.reader.through(boot) for boot, seq in lines)
        self.counts |= {"synced": len(self.synced_lines), "lost": len(lost), "gaps": gaps}
        return self.counts | {
            "doubled": len(lines) - len(set(lines)),
            "conflicting": self.reader.conflicting,
        }


def cut_again_and_again(
    folder: Path, seed: int, cuts: int, monkeypatch: pytest.MonkeyPatch
) -> dict[str, int]:
    card = Card(folder, Random(seed), monkeypatch)
    for _ in range(cuts):
        card.life()
    return card.judge()


def is_sound(counts: dict[str, int], cuts: int) -> None:
    assert counts["cuts"] == cuts
    assert counts["synced"] > 5 * cuts
    assert [counts[each] for each in ("lost", "gaps", "doubled", "conflicting")] == [0, 0, 0, 0]


@pytest.mark.hazard(36)
def test_cuts_at_random_bytes_lose_nothing_that_was_synced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    is_sound(cut_again_and_again(tmp_path, 1, CUTS, monkeypatch), CUTS)


@pytest.mark.bench
def test_two_hundred_and_forty_cuts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    counts = cut_again_and_again(tmp_path, 2, CUTS_FULL, monkeypatch)
    with capsys.disabled():
        print(f"\n{counts}")
    is_sound(counts, CUTS_FULL)


@pytest.mark.hazard(47)
@pytest.mark.parametrize("seed", range(12))
def test_damage_at_random_bytes_costs_the_damaged_lines_only(
    tmp_path: Path, seed: int, caplog: pytest.LogCaptureFixture
) -> None:
    chance = Random(seed)
    journal = Journal.open(tmp_path, JournalSettings(), moment())
    for seq in range(1, 201):
        made = event if chance.random() < 0.2 else tick
        journal.append([made(journal.boot, seq)], moment(seq * STEP_S), urgent=False)
    journal.close(moment(3000.0))
    (day_file,) = day_files(tmp_path)
    rows = day_file.path.read_bytes().splitlines(keepends=True)
    hit = sorted(chance.sample(range(200), chance.randint(1, 20)))
    for number in hit:
        row = bytearray(rows[number])
        for _ in range(chance.randint(1, 5)):
            row[chance.randrange(len(row))] = chance.choice(b"\x00\x07\n{}\xff")
        rows[number] = bytes(row)
    day_file.path.write_bytes(b"".join(rows))
    kept = {entry.seq for entry in entries_in(day_file)}
    assert kept >= set(range(1, 201)) - {number + 1 for number in hit} - _swallowed(hit, rows)
    missing = set(range(1, 201)) - kept
    assert not missing or "damaged lines were left out" in caplog.text
    again = Journal.open(tmp_path, JournalSettings(), moment(4000.0))
    given = [message_in(entry.text.encode()) for entry in Outbox(again).take(1000)]
    assert [line.seq for line in given if line is not None] == list(range(1, len(given) + 1))
    lost = {line.seq for line in given if isinstance(line, Event) and line.code == LOST_CODE}
    assert lost == {seq for seq in missing if seq < max(kept)}
    again.close(moment(4000.0))
    shutil.rmtree(tmp_path)


def _swallowed(hit: list[int], rows: list[bytes]) -> set[int]:
    """A line whose end was overwritten takes the following one with it."""
    return {number + 2 for number in hit if not rows[number].endswith(b"\n")}
