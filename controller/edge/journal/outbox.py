"""Reading the journal for delivery: every line not yet acknowledged, in order, oldest boot first.

The live end is served from memory, everything older from the files. What was acknowledged is kept
in `delivered.json`; losing that file costs duplicates, which the reader drops, and nothing else.
A number whose line is lost for good (damaged, dropped or pruned) is delivered as an event saying
so, or whoever counts without gaps would wait for it for ever. Nothing here sends anything.
"""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Iterator, Mapping
from itertools import groupby

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge.journal.day_files import DayFile, Entry, day_files, entries_in, message_in
from controller.edge.journal.writer import Journal

SAVE_S = 60.0  # Why: losing a minute of acknowledgements costs a minute of duplicates.
LOST_CODE = "line-lost"
_FILE_NAME = "delivered.json"

_log = logging.getLogger(__name__)


class Outbox:
    """A reader of one journal, and its memory of what has been delivered.

    Lines are taken once, in order; `rewind` starts again after what was acknowledged.
    """

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._path = journal.folder / _FILE_NAME
        self._delivered = self._load()
        self._last_seq: dict[str, int] = {}
        self._saved = dict(self._delivered)
        self._saved_mono_s = float("-inf")
        self.rewind()

    def take(self, limit: int) -> list[Entry]:
        """The next lines, at most `limit`; fewer when the end of the journal is reached."""
        taken: list[Entry] = []
        while len(taken) < limit and (entry := self._next()) is not None:
            if entry.seq > self.delivered(entry.boot):
                taken.append(entry)
        return taken

    def rewind(self) -> None:
        """Start again with the first line that is not acknowledged."""
        self._at_boot, self._at_seq = "", 0
        self._disk: Iterator[Entry] | None = None
        self._ahead: Entry | None = None

    def delivered(self, boot: str) -> int:
        """Up to which number the lines of a boot are acknowledged; 0 for none."""
        return self._delivered.get(boot, 0)

    def acknowledge(self, boot: str, through: int) -> None:
        """Every line of a boot up to this one is stored. May go back: a store may be restored."""
        self._delivered[boot] = through

    def is_known(self, boot: str) -> bool:
        """Whether this journal has or had lines of that boot."""
        return (
            boot == self._journal.boot
            or boot in self._delivered
            or any(each.boot == boot for each in day_files(self._journal.folder))
        )

    def save(self, now: Moment, urgent: bool = False) -> None:
        """Keep the acknowledgements, at most once a minute unless urgent. Never raises OSError."""
        if self._delivered == self._saved:
            return
        if not urgent and now.mono_s - self._saved_mono_s < SAVE_S:
            return
        self._saved_mono_s = now.mono_s
        new = self._path.with_suffix(".new")
        try:
            self._forget_pruned_boots()
            with new.open("w", encoding="ascii") as file:
                json.dump(self._delivered, file)
                file.flush()
                os.fsync(file.fileno())
            new.replace(self._path)
        except OSError as error:
            _log.warning("What was delivered cannot be written down: %s", error)
        else:
            self._saved = dict(self._delivered)

    def _forget_pruned_boots(self) -> None:
        there = {each.boot for each in day_files(self._journal.folder)} | {self._journal.boot}
        for boot in self._delivered.keys() - there:
            del self._delivered[boot]

    def _load(self) -> dict[str, int]:
        try:
            said = json.loads(self._path.read_bytes())
            pairs = said.items() if isinstance(said, Mapping) else ()
            return {str(boot): max(0, int(through)) for boot, through in pairs}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, TypeError, RecursionError) as error:
            _log.warning("%s is damaged, everything is delivered again: %s", self._path, error)
            return {}

    def _next(self) -> Entry | None:
        """The next line; in the place of one that is lost, an event that says so."""
        entry = self._ahead or self._found()
        if entry is None:
            return None
        same = entry.boot == self._at_boot
        wanted_seq = (self._at_seq if same else self.delivered(entry.boot)) + 1
        self._ahead = None
        if entry.seq > wanted_seq:
            self._ahead, entry = entry, lost_line(entry, wanted_seq)
        self._at_boot, self._at_seq = entry.boot, entry.seq
        return entry

    def _found(self) -> Entry | None:
        journal = self._journal
        if self._at_boot == journal.boot:
            if self._at_seq + 1 >= journal.next_seq:
                return None
            if (entry := journal.in_memory(self._at_seq + 1)) is not None:
                self._disk = None
                return entry
        if self._disk is None:
            self._disk = self._on_disk()
        if (entry := next(self._disk, None)) is not None:
            return entry
        self._disk = None
        if self._at_boot != journal.boot:
            self._at_boot, self._at_seq = journal.boot, self.delivered(journal.boot)
            return self._found()
        return journal.oldest_in_memory(self._at_seq)

    def _on_disk(self) -> Iterator[Entry]:
        """The lines in the files behind the place we are at, without what is acknowledged."""
        there = day_files(self._journal.folder)
        by_boot = [(boot, list(group)) for boot, group in groupby(there, lambda each: each.boot)]
        boots = [boot for boot, _ in by_boot]
        start = boots.index(self._at_boot) if self._at_boot in boots else 0
        if self._at_boot == self._journal.boot and self._at_boot not in boots:
            return
        for boot, files in by_boot[start:]:
            if self._last_seq.get(boot, float("inf")) <= self.delivered(boot):
                continue
            after_seq = self._at_seq if boot == self._at_boot else self.delivered(boot)
            if boot == self._journal.boot and self._journal.in_memory(after_seq + 1) is not None:
                return
            for entry in _entries_of_boot(files, after_seq):
                after_seq = entry.seq
                yield entry
            if boot != self._journal.boot:
                self._last_seq[boot] = after_seq


def _entries_of_boot(files: list[DayFile], after_seq: int) -> Iterator[Entry]:
    """The lines of one boot above a number, without opening a file that holds none of them."""
    for day_file, following in zip(files, [*files[1:], None], strict=True):
        if following is None or following.first_seq > after_seq + 1:
            for entry in entries_in(day_file, after_seq):
                after_seq = entry.seq
                yield entry


def lost_line(neighbour: Entry, seq: int) -> Entry:
    """An event in the place of a line that is lost, dated like the next one that is not."""
    following = message_in(neighbour.text.encode())
    assert following is not None, neighbour
    event = wire.Event(
        chamber=following.chamber,
        boot=neighbour.boot,
        seq=seq,
        utc_s=following.utc_s,
        mono_s=following.mono_s,
        synced=following.synced,
        code=LOST_CODE,
        state=wire.EventState.ENDED,
        text="A line of the journal is lost: damaged, pruned, or dropped while the disk was full.",
    )
    return Entry(neighbour.boot, seq, False, wire.encode(event))
