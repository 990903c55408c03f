"""Power cuts in the middle of the store's commits: what was acknowledged is there, once.

A commit is on the disk when it returns. So the cut falls into the bytes that the next commit adds
to the write-ahead log: cut short, zeros, or other bytes in their place.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from random import Random

import pytest

from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S, event, tick

CUTS, CUTS_FULL = 40, 240
BOOT, CHAMBER = "b1", "cellar"


class Disk:
    """A store that is cut, opened again, and fed from where it says it is."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance, self.folder, self.seq = Random(seed), folder, 0
        self.path = folder / "store.db"
        self.counts = {"cuts": 0, "acknowledged": 0, "lost": 0, "doubled": 0}

    def life(self) -> None:
        """Some commits; then one is cut at a random byte, and the store is opened again."""
        store = Store.open(self.path)
        acknowledged = store.through(CHAMBER, BOOT)
        assert acknowledged >= self.seq
        self.seq = acknowledged
        for _ in range(self.chance.randint(1, 4)):
            self._commit(store)
        log = self.path.with_name(self.path.name + "-wal")
        safe = log.stat().st_size if log.exists() else 0
        kept = self.seq
        self._commit(store)
        self.seq = kept
        raw = log.read_bytes()
        main = self.path.read_bytes()
        store.close()
        for each in self.folder.glob("store.db*"):
            each.unlink()
        self.path.write_bytes(main)
        log.write_bytes(self._cut(raw, min(safe, len(raw))))
        self.counts["cuts"] += 1

    def _commit(self, store: Store) -> None:
        many = self.chance.randint(1, 40)
        lines = [
            (event if self.chance.random() < 0.1 else tick)(seq)
            for seq in range(self.seq + 1, self.seq + many + 1)
        ]
        again = lines[: self.chance.randint(0, many)]  # Sent twice, as after a lost answer.
        store.add((*lines, *again), START_UTC_S)
        (stored,) = store.commit()
        assert stored.through == self.seq + many
        self.seq = stored.through

    def _cut(self, raw: bytes, safe: int) -> bytes:
        cut = self.chance.randint(safe, len(raw))
        tail = len(raw) - cut
        kind = self.chance.choice(("shorter", "zeros", "garbage"))
        return (
            raw[:cut]
            + {
                "shorter": b"",
                "zeros": bytes(tail),
                "garbage": self.chance.randbytes(tail),
            }[kind]
        )

    def judge(self) -> dict[str, int]:
        store = Store.open(self.path)
        through = store.through(CHAMBER, BOOT)
        with store._database.reading() as connection:
            (ticks, different) = connection.execute(
                "SELECT count(*), count(DISTINCT seq) FROM ticks"
            ).fetchone()
            (events,) = connection.execute("SELECT count(DISTINCT seq) FROM events").fetchone()
            (checked,) = connection.execute("PRAGMA integrity_check").fetchone()
        store.close()
        assert checked == "ok"
        self.counts["acknowledged"] = self.seq
        self.counts["lost"] = max(0, self.seq - through) + (through - different - events)
        self.counts["doubled"] = ticks - different
        return self.counts


def cut_again_and_again(folder: Path, seed: int, cuts: int) -> dict[str, int]:
    disk = Disk(folder, seed)
    for _ in range(cuts):
        disk.life()
    return disk.judge()


@pytest.mark.hazard(36)
def test_cuts_of_the_stores_log_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    counts = cut_again_and_again(tmp_path, 1, CUTS)
    assert counts["cuts"] == CUTS
    assert counts["acknowledged"] > 20 * CUTS
    assert (counts["lost"], counts["doubled"]) == (0, 0)


@pytest.mark.bench
def test_two_hundred_and_forty_cuts_of_the_store(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    counts = cut_again_and_again(tmp_path, 2, CUTS_FULL)
    with capsys.disabled():
        print(f"\n{counts}")
    assert counts["cuts"] == CUTS_FULL
    assert (counts["lost"], counts["doubled"]) == (0, 0)
    shutil.rmtree(tmp_path)
