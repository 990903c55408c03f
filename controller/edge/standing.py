"""What orders have left standing: the batch they began or ended, and which were answered how.

Kept in one small file beside the journal, `orders.json`, so that a restart resumes exactly what was
ordered; how far the procedure has come stands in the last tick. It is written whole, checked by a
checksum and synced before an order is answered, and the one before is kept beside it. A file that
is damaged or missing never stops a start: then the settings' batch goes on, and that is told. A new
batch name in the settings file ends whatever was ordered before. It decides about no order.
"""

from __future__ import annotations

import json
import logging
import os
import zlib
from pathlib import Path
from typing import Any

from controller import beerjson, wire
from controller.decision.profile import Begun
from controller.errors import BarmkeepError
from controller.wire import Reply

FILE_NAME = "orders.json"
BEFORE_NAME = "orders.before.json"
BYTES_MAX = 1_000_000  # Why: a procedure and all the answers there can be are a quarter of this.
# Why: more than can be answered within the life of an order. By count and not by age, so that no
# step of the clock makes an answered order new.
ANSWERS_MAX = 400

_log = logging.getLogger(__name__)


class Standing:
    """What stands of the orders of one chamber.

    Args:
        folder: the journal's folder.
        settings_batch: the batch the settings name now; None: none.
    """

    def __init__(self, folder: Path, settings_batch: str | None) -> None:
        self._folder = folder
        self._settings_batch = settings_batch
        self.begun: Begun | None = None
        self.answers: dict[str, Reply] = {}
        self.newest_utc_s = 0.0
        self.trouble: str | None = None
        self._load()

    def keep(self, begun: Begun | None, reply: Reply, issued_utc_s: float) -> bool:
        """Whether this is on the disk now. In memory it is in any case, except what was begun.

        Args:
            begun: what stands after the order.
            reply: the order's answer.
            issued_utc_s: when the order was issued.
        """
        self.newest_utc_s = max(self.newest_utc_s, issued_utc_s)
        self.answers[reply.id] = reply
        for each in list(self.answers.values())[:-ANSWERS_MAX]:
            del self.answers[each.id]
        try:
            self._save(begun)
        except OSError as error:
            _log.error("What was ordered cannot be written: %s", error)
            return False
        self.begun = begun
        return True

    def trust_clock(self, now_utc_s: float) -> None:
        """Forget an order's time that lies ahead of a clock that may be believed."""
        self.newest_utc_s = min(self.newest_utc_s, now_utc_s)

    def _save(self, begun: Begun | None) -> None:
        body = json.dumps(
            {
                "instead_of": self._settings_batch,
                "begun": None if begun is None else _written(begun),
                "newest_utc_s": self.newest_utc_s,
                "answers": [wire.encode(each) for each in self.answers.values()],
            }
        )
        path, new = self._folder / FILE_NAME, self._folder / f"{FILE_NAME}.new"
        with new.open("w", encoding="utf-8") as file:
            file.write(f"{zlib.crc32(body.encode()):08x} {body}\n")
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            path.replace(self._folder / BEFORE_NAME)
        new.replace(path)
        opened = os.open(self._folder, os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)

    def _load(self) -> None:
        for name in (FILE_NAME, BEFORE_NAME):
            path = self._folder / name
            try:
                self._take(_read(path))
            except FileNotFoundError:
                continue
            except (OSError, ValueError, TypeError, KeyError, BarmkeepError) as error:
                _log.error("%s cannot be used: %s", path, error)
                self.begun, self.answers = None, {}
                self.trouble = "What was ordered before could not be read; the settings count."
            else:
                return

    def _take(self, found: dict[str, Any]) -> None:
        answers = [wire.decode(line) for line in found["answers"]]
        self.answers = {each.id: each for each in answers if isinstance(each, Reply)}
        self.newest_utc_s = float(found["newest_utc_s"])
        if found["begun"] is not None and found["instead_of"] == self._settings_batch:
            self.begun = _begun(found["begun"])


def _read(path: Path) -> dict[str, Any]:
    """The body of a file.

    Raises:
        OSError: it is not there or cannot be read.
        ValueError: it is damaged.
    """
    with path.open("rb") as file:
        checksum, _, body = file.read(BYTES_MAX).partition(b" ")
    body = body.rstrip(b"\n")
    if checksum != f"{zlib.crc32(body):08x}".encode():
        raise ValueError("its checksum is wrong")
    found = json.loads(body)
    if not isinstance(found, dict):
        raise ValueError("it holds no object")
    return found


def _written(begun: Begun) -> dict[str, Any]:
    return {
        "id": begun.id,
        "batch": begun.batch,
        "procedure": None if begun.profile is None else beerjson.to_beerjson(begun.profile),
        "pitched_utc_s": begun.pitched_utc_s,
    }


def _begun(found: dict[str, Any]) -> Begun:
    text = found["procedure"]
    profile = None if text is None else beerjson.parse(text, "The procedure begun by order")[0]
    return Begun(str(found["id"]), found["batch"], profile, found["pitched_utc_s"])
