"""Release: what somebody standing at the machine has put right, told to a chamber's next start.

The service holds the chamber, so a person cannot start it by hand with `--release`. A note is left
beside that of the relay lines; the next start takes it, once, and only while it is fresh: a note
that was forgotten must not release a trip at some restart in the night.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from controller.decision.interlock_rules import RULE_BY_CODE
from controller.decision.vocabulary import Moment
from controller.errors import DiskError, SettingsError

FRESH_S = 600.0  # Why: time to type the restart, and too short to be forgotten over night.
_NOTE_BYTES_MAX = 1000  # Why: all codes together are shorter.


def known_trips(codes: Sequence[str]) -> tuple[str, ...]:
    """These codes, if each names a trip.

    Raises:
        SettingsError: one does not.
    """
    trips = tuple(code for code, rule in RULE_BY_CODE.items() if rule.latches)
    unknown = [code for code in codes if code not in trips]
    if unknown:
        raise SettingsError(
            f"No trip is called {unknown[0]!r}.", f"Name one of: {', '.join(trips)}."
        )
    return tuple(codes)


def leave_note(folder: Path, chamber: str, codes: Sequence[str]) -> None:
    """Tell the chamber's next start to begin without these trips.

    Raises:
        SettingsError: a code names no trip.
        DiskError: the note cannot be written, or no service of that name has run here.
    """
    trips = known_trips(codes)
    if not (folder / f"{chamber}.pins").exists():
        raise DiskError(
            f"No chamber called {chamber} has run since this machine started.",
            f"Name one of those in {folder}, or start its service first.",
        )
    try:
        (folder / f"{chamber}.release").write_text("\n".join(trips) + "\n", encoding="ascii")
    except OSError as error:
        raise DiskError(
            f"The note cannot be written in {folder} ({error.strerror}).", "Run this with sudo."
        ) from error


def taken_note(folder: Path, chamber: str, now: Moment) -> tuple[str, ...]:
    """The trips of a fresh note, which is gone afterwards; none when there is no such note."""
    path = folder / f"{chamber}.release"
    try:
        age_s = now.utc_s - path.stat().st_mtime
        with path.open(encoding="ascii", errors="replace") as file:
            codes = file.read(_NOTE_BYTES_MAX).split()
        path.unlink()
    except OSError:
        return ()  # Why: a note that cannot be taken away would release again at every start.
    is_fresh = 0.0 <= age_s <= FRESH_S
    return tuple(code for code in codes if code in RULE_BY_CODE) if is_fresh else ()
