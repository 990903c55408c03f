"""Relearn: a vessel learned once more from its journal, for a person to look at.

It runs the ticks of a journal through the same learner as the running controller, so that an older
journal, or one of a controller that was started often, tells as much as it holds. It changes
nothing; what a running chamber knows stays in its own ticks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from controller import wire
from controller.edge.journal.day_files import day_files, ticks_in
from controller.errors import DiskError, SettingsError
from controller.thermal.learn import LearnMemory, Seen, learn
from controller.thermal.learned import Course, Learned
from controller.thermal.model import VesselSettings, vessel_of

POINT_EVERY_H = 1.0  # Why: nothing learned moves visibly within an hour.


@dataclass(frozen=True, slots=True)
class Point:
    """What was known at one hour of the journal."""

    hours: float
    learned: Learned


@dataclass(frozen=True, slots=True)
class Relearned:
    """A vessel learned from a journal.

    Args:
        described: what the settings said of it.
        learned: what is known at the end.
        points: what was known on the way, an hour apart.
        target_c: the last target; None when there was none.
        coldest_c: the coldest the garage was; None without its probe.
    """

    described: VesselSettings
    learned: Learned
    points: tuple[Point, ...]
    target_c: float | None
    coldest_c: float | None


def relearned(folder: Path, days: float, vessel: VesselSettings | None) -> Relearned:
    """What the newest days of a chamber's journal tell of its vessel.

    Args:
        folder: the chamber's journal.
        days: how far back from its newest tick.
        vessel: what it is; None to take what the ticks say of it.

    Raises:
        DiskError: there is no journal, or nothing in it.
        SettingsError: the ticks do not say what vessel it was, or nothing could be learned yet.
    """
    files = day_files(folder) if folder.is_dir() else []
    if not files:
        raise DiskError(
            f"There is no journal in {folder}.",
            "Name the folder of one chamber, like /var/lib/barmkeep/garage-left.",
        )
    newest = files[-max(1, round(days) + 1) :]
    ticks = (tick for day_file in newest for tick in ticks_in(day_file))
    return _learned_from(ticks, vessel)


def _learned_from(ticks: Iterator[wire.Tick], vessel: VesselSettings | None) -> Relearned:
    described: VesselSettings | None = vessel
    told: str | None = None
    memory, points = LearnMemory(), list[Point]()
    course: Course | None = None
    before: wire.Tick | None = None
    target_c: float | None = None
    coldest_c: float | None = None
    for tick in ticks:
        if vessel is None and tick.vessel != told:  # Another vessel: what was learned is void.
            told = tick.vessel
            described = None if told is None else VesselSettings.from_words(told)
            course, memory, points = None, LearnMemory(), []
        if described is None:
            continue
        course = course or Course.of(vessel_of(described))
        memory = learn(course, memory, _seen(before, tick))
        before = tick
        target_c = target_c if tick.target_c is None else tick.target_c
        if tick.garage_c is not None:
            coldest_c = tick.garage_c if coldest_c is None else min(coldest_c, tick.garage_c)
        learned = memory.learned
        if learned and (not points or learned.hours - points[-1].hours >= POINT_EVERY_H):
            points.append(Point(learned.hours, learned))
    if described is None:
        raise SettingsError(
            "The journal does not say what vessel it was: an older release wrote it.",
            "Name the chamber's settings: barmkeep learn FOLDER --settings FILE.",
        )
    if memory.learned is None:
        raise SettingsError(
            "Nothing has been learned yet.", "Wait for half an hour of running with a beer probe."
        )
    return Relearned(described, memory.learned, tuple(points), target_c, coldest_c)


def _seen(before: wire.Tick | None, tick: wire.Tick) -> Seen:
    """What this tick felt, and what the relays had been since the last one."""
    is_new = before is None or before.boot != tick.boot
    heat, fan = (False, False) if is_new or before is None else (before.heat, before.fan)
    has_garage = "garage" in tick.offset_k or "garage" in tick.faults
    # Why: a new boot's clock may have begun anew, and may even agree with the old one's.
    mono_s = tick.mono_s if not is_new else -1.0
    return Seen(mono_s, heat, fan, tick.beer_c, tick.garage_c, has_garage)
