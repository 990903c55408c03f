"""The soak: a year of ticks through the whole controller, and what grows meanwhile.

    nice -n 10 python -m tests.bench.soak --days 300

The real loop, libraries and journal in the simulated garage, flat out, in lives of thirty days with
a restart between them. A journal that keeps thirty days is full after a tenth of it; from then on
memory, open files and bytes on the disk must stay where they are.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from controller.simulation.simulate import DAY_S, START_UTC_S, Garage, Show, simulate
from tests.scenarios.garage import settings

LIFE_DAYS = 30.0
SAMPLE_TICKS = 8640  # Why: a simulated day of ticks of ten seconds.
KEEP_DAYS = 30
SIZE_MB_MAX = 60
_PAGE = os.sysconf("SC_PAGE_SIZE")


@dataclass
class Watch:
    """What is measured once a simulated day."""

    folder: Path
    ticks: int = 0
    samples: list[dict[str, float]] = field(default_factory=list)

    def __call__(self) -> bool:
        self.ticks += 1
        if self.ticks % SAMPLE_TICKS == 0:
            files = [path.stat().st_size for path in self.folder.rglob("*") if path.is_file()]
            resident = int(Path("/proc/self/statm").read_text().split()[1]) * _PAGE
            self.samples.append(
                {
                    "day": self.ticks / SAMPLE_TICKS,
                    "resident_mb": resident / 1e6,
                    "open_files": len(list(Path("/proc/self/fd").iterdir())),
                    "files": len(files),
                    "disk_mb": sum(files) / 1e6,
                }
            )
        return False


def soak(days: float, folder: Path) -> Watch:
    """Lives of at most thirty days, one after the other, in one journal."""
    watch = Watch(folder)
    given = settings()
    journal = replace(given.journal, keep_days=KEEP_DAYS, size_mb_max=SIZE_MB_MAX)
    given = replace(given, journal=journal)
    done = 0.0
    while done < days:
        life = min(LIFE_DAYS, days - done)
        start = START_UTC_S + done * DAY_S
        show = Show(days=life, journal=folder, start_utc_s=start, should_stop=watch)
        simulate(given, Garage(seed=int(done) + 1), show)
        done += life
    return watch


def growth(samples: list[dict[str, float]], name: str) -> float:
    """By how much a thing grew from the second fifth to the last, on average over each."""
    fifth = max(1, len(samples) // 5)
    second, last = samples[fifth : 2 * fifth], samples[-fifth:]
    mean = [sum(each[name] for each in part) / len(part) for part in (second, last)]
    return mean[1] - mean[0]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--days", type=float, default=300.0)
    options = parser.parse_args()
    shared = Path("/dev/shm")
    parent = shared if os.access(shared, os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix="barmkeep-soak-", dir=parent) as folder:
        began_s = time.monotonic()
        watch = soak(options.days, Path(folder))
        took_s = time.monotonic() - began_s
    for sample in watch.samples[:: max(1, len(watch.samples) // 12)]:
        print(json.dumps({name: round(value, 2) for name, value in sample.items()}))
    print(f"{options.days:.0f} days, {watch.ticks} ticks in {took_s:.0f} s")
    for name in ("resident_mb", "open_files", "files", "disk_mb"):
        print(f"{name}: grew by {growth(watch.samples, name):+.2f}, second fifth to last")


if __name__ == "__main__":
    main()
