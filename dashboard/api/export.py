"""Everything that is kept, as one JSON document or as one archive of CSV files, while it is read.

Both are streamed a page of rows at a time, so that years of ticks cost no memory. CSV is RFC 4180
with a first line of names; each time stands there twice, as Unix seconds and for people. The
archive's files have no sizes in front of them, since nobody knows them yet when they are begun.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from functools import partial
from typing import Any, TypeAlias

from starlette.responses import Response, StreamingResponse

from controller.wire import Event, Tick
from dashboard.api.operations import JSON, Asked
from dashboard.api.reading import gravity_of, note_of, text_of
from dashboard.facts import Batch
from dashboard.store import EVENTS_MAX, TICKS_MAX, Store

PAGE_TICKS = 2000  # Why: a page of ticks is some two megabytes as objects.
FLUSH_BYTES = 32_768  # Why: small enough to be nothing in memory, large enough to send.
END_UTC_S = 1e11  # Why: after everything.
ZIP = "application/zip"
EVENT_COLUMNS = (
    "chamber", "utc_s", "utc", "boot", "seq", "code", "state", "priority", "text", "remedy",
    "batch", "step", "order", "synced",
)  # fmt: skip
BATCH_COLUMNS = (
    "id", "chamber", "name", "pitched_utc_s", "pitched_utc", "ended_utc_s", "ended_utc",
    "original_sg", "expected_final_sg", "volume_l", "strain",
)  # fmt: skip
GRAVITY_COLUMNS = (
    "id", "batch", "taken_utc_s", "taken_utc", "entered", "unit", "sample_c", "calibrated_c",
    "note", "corrected_sg", "apparent_attenuation", "real_attenuation", "alcohol_by_volume",
    "share_of_expected_drop",
)  # fmt: skip
NOTE_COLUMNS = ("id", "batch", "at_utc_s", "at_utc", "kind", "text")
_GONE = ("mono_s",)  # Why: of a tick that was kept it stands at nought.
TICK_COLUMNS = tuple(
    name
    for each in fields(Tick)
    for name in (("utc_s", "utc") if each.name == "utc_s" else (each.name,))
    if name not in _GONE
)

FORMULA = ("=", "+", "-", "@", "\t", "\r")

Row: TypeAlias = dict[str, Any] | Tick | Event


@dataclass(frozen=True, slots=True)
class Export:
    """Answers the operations that give everything."""

    store: Store
    clock: Callable[[], float]

    def document(self, asked: Asked) -> Response:
        """GET: everything as JSON."""
        return self._streamed(self._json(), JSON, "json")

    def archive(self, asked: Asked) -> Response:
        """GET: everything as CSV files in one archive."""
        return self._streamed(self._zip(), ZIP, "zip")

    def _streamed(self, pieces: Iterator[bytes], media_type: str, ending: str) -> Response:
        day = datetime.fromtimestamp(self.clock(), UTC).date()
        name = {"content-disposition": f'attachment; filename="barmkeep-{day}.{ending}"'}
        return StreamingResponse(pieces, media_type=media_type, headers=name)

    def _json(self) -> Iterator[bytes]:
        yield b'{"chambers":['
        for number, chamber in enumerate(self._chambers()):
            name = json.dumps(chamber)
            yield f'{"," if number else ""}{{"name":{name},"batches":['.encode()
            batches = map(self._whole_batch, self.store.batches(chamber))
            yield from _joined(json.dumps(each, ensure_ascii=False) for each in batches)
            yield b'],"events":['
            yield from _joined(map(text_of, self._events(chamber)))
            yield b'],"ticks":['
            yield from _joined(map(text_of, self._ticks(chamber)))
            yield b"]}"
        yield b"]}\n"

    def _whole_batch(self, batch: Batch) -> dict[str, Any]:
        return {
            **asdict(batch),
            "gravities": [gravity_of(batch, each) for each in self.store.gravities(batch.id)],
            "notes": [note_of(each) for each in self.store.notes(batch.id)],
        }

    def _zip(self) -> Iterator[bytes]:
        sink = _Sink()
        with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            for name, columns, rows in self._tables():
                with archive.open(f"{name}.csv", "w", force_zip64=True) as file:
                    for piece in _csv(columns, rows):
                        file.write(piece)
                        yield sink.taken()
        yield sink.taken()

    def _tables(self) -> Iterator[tuple[str, tuple[str, ...], Iterator[Row]]]:
        batches = [each for name in self._chambers() for each in self.store.batches(name)]
        yield "batches", BATCH_COLUMNS, (asdict(each) for each in batches)
        yield (
            "gravities",
            GRAVITY_COLUMNS,
            (gravity_of(of, each) for of in batches for each in self.store.gravities(of.id)),
        )
        yield (
            "notes",
            NOTE_COLUMNS,
            (note_of(each) for of in batches for each in self.store.notes(of.id)),
        )
        chambers = self._chambers()
        yield "events", EVENT_COLUMNS, (row for name in chambers for row in self._events(name))
        yield "ticks", TICK_COLUMNS, (row for name in chambers for row in self._ticks(name))

    def _chambers(self) -> list[str]:
        return [each.name for each in self.store.chambers()]

    def _ticks(self, chamber: str) -> Iterator[Tick]:
        """Every committed tick, oldest first."""
        from_utc_s, told = 0.0, set[tuple[str, int]]()
        while page := self.store.ticks(chamber, from_utc_s, END_UTC_S, PAGE_TICKS):
            fresh = [tick for tick in page if (tick.boot, tick.seq) not in told]
            yield from fresh
            if len(page) < PAGE_TICKS:
                return
            if not fresh:  # A whole page of one second: it cannot be passed but by going on.
                from_utc_s += 1
                continue
            # Those of the page's last second come again, and are known then.
            from_utc_s = page[-1].utc_s
            told = {(tick.boot, tick.seq) for tick in page if tick.utc_s == from_utc_s}

    def _events(self, chamber: str) -> Iterator[Event]:
        """Every committed event, oldest first; they are few enough to be held a page at a time."""
        pages = []
        to_utc_s = END_UTC_S
        while page := self.store.events(chamber, 0.0, to_utc_s, EVENTS_MAX):
            whole = len(page) == EVENTS_MAX and page[0].utc_s < page[-1].utc_s
            # The oldest moment of a full page may be cut off in the middle; it is asked for again.
            pages.append([each for each in page if not whole or each.utc_s > page[0].utc_s])
            if not whole:
                break
            to_utc_s = pages[-1][0].utc_s
        for page_of in reversed(pages):
            yield from page_of


class _Sink(io.RawIOBase):
    """Where the archive is written to, and taken from piece by piece."""

    def __init__(self) -> None:
        self._kept = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, piece: Any) -> int:
        self._kept += piece
        return len(piece)

    def taken(self) -> bytes:
        """What was written since this was last asked."""
        found = bytes(self._kept)
        self._kept.clear()
        return found


def _joined(rows: Iterable[str]) -> Iterator[bytes]:
    """Rows of JSON with commas between, in pieces worth sending."""
    kept, is_first = bytearray(), True
    for row in rows:
        kept += b"" if is_first else b","
        is_first = False
        kept += row.encode()
        if len(kept) >= FLUSH_BYTES:
            yield bytes(kept)
            kept.clear()
    yield bytes(kept)


def _csv(columns: tuple[str, ...], rows: Iterable[Row]) -> Iterator[bytes]:
    text = io.StringIO()
    writer = csv.writer(text)  # RFC 4180: commas, quotes where needed, CR LF.
    writer.writerow(columns)
    for row in rows:
        value_of = row.get if isinstance(row, dict) else partial(getattr, row)
        writer.writerow([_cell(value_of, name) for name in columns])
        if text.tell() >= FLUSH_BYTES:
            yield text.getvalue().encode()
            text.seek(0)
            text.truncate()
    yield text.getvalue().encode()


def _cell(value_of: Callable[[str], Any], name: str) -> Any:
    if name.endswith("utc"):
        utc_s = value_of(f"{name}_s")
        return "" if utc_s is None else _for_people(utc_s)
    value = value_of(name)
    if isinstance(value, str) and value[:1] in FORMULA:
        return f"'{value}"  # Source: OWASP, CSV Injection: a spreadsheet would compute it.
    if isinstance(value, tuple | Mapping):
        return json.dumps(value, ensure_ascii=False) if value else ""
    return value


def _for_people(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


assert PAGE_TICKS <= TICKS_MAX
