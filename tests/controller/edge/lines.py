"""Lines for the tests of the journal and the courier, and what the disk holds of them."""

import resource
from contextlib import contextmanager

from controller.decision.vocabulary import Moment
from controller.edge.journal import day_files
from controller.wire import Event, Tick

CHAMBER = "left"
MIDNIGHT_S = 1_767_225_600.0  # 2026-01-01 00:00 UTC
DAY_S = 86_400.0
EPOCH_MONO_S = 1000.0


def moment(after_s: float = 0.0, synced: bool = True) -> Moment:
    return Moment(EPOCH_MONO_S + after_s, MIDNIGHT_S + after_s, synced)


def tick(boot: str, seq: int, now: Moment | None = None, beer_c: float = 35.0) -> Tick:
    now = now or moment(seq * 10.0)
    return Tick(
        CHAMBER, boot, seq, now.utc_s, now.mono_s, now.synced, "hold", 0.25, True, False, beer_c
    )


def event(boot: str, seq: int, now: Moment | None = None) -> Event:
    now = now or moment(seq * 10.0)
    return Event(
        CHAMBER, boot, seq, now.utc_s, now.mono_s, now.synced, "step", "changed", "Step 2 begins."
    )


def write_ticks(journal, count: int, after_s: float = 0.0, every_s: float = 10.0) -> None:
    """Append ticks as a loop would, one at a time."""
    for number in range(count):
        now = moment(after_s + number * every_s)
        journal.append([tick(journal.boot, journal.next_seq, now)], now, urgent=False)


def names(folder):
    return sorted(path.name for path in folder.glob("*.jsonl*"))


def seqs(folder, boot):
    return [
        entry.seq
        for each in day_files.day_files(folder)
        if each.boot == boot
        for entry in day_files.entries_in(each)
    ]


@contextmanager
def full_disk(folder, room_bytes):
    """The kernel lets no file grow past this: a write comes back short, the next one fails."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    size = max((path.stat().st_size for path in folder.glob("*.jsonl")), default=0)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + room_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
