"""Simulating: the command `barmkeep simulate`, from its arguments to its score.

It only reads the command line and builds what `simulate.py` needs.
"""

from __future__ import annotations

import argparse
import math
import signal
import tempfile
import threading
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from types import FrameType
from typing import TextIO

from controller.edge.clock import SystemClock
from controller.errors import DiskError, SettingsError
from controller.settings import Settings, load, parse
from controller.simulation.faults import parse_fault
from controller.simulation.forecast import parse_forecast
from controller.simulation.rehearsal import learned_in, rehearse
from controller.simulation.simulate import DAY_S, START_UTC_S, Garage, Show, simulate
from controller.simulation.told import told

DAYS = 3.0  # Why: a fast ferment is over by then.
DAYS_MAX = 400.0  # Why: a year and a month; longer is a mistyped number.

# Why: a simulation needs no probes of anybody's; these ids have the form of real ones.
SIMULATED = """
[chamber]
name = "rehearsal"
[vessel]
volume_l = {volume_l}
pad_w = {pad_w}
jacket = "{jacket}"
[probes]
beer = "28-00000a1b2c01"
garage = "28-00000a1b2c02"
[relays]
heat_gpio = 17
fan_gpio = 27
[batch]
name = "rehearsal"
{aim}
"""


def add_arguments(made: argparse.ArgumentParser) -> None:
    """The arguments of `barmkeep simulate`, and the function that runs it."""
    made.add_argument("--settings", type=Path, help="simulate this chamber")
    made.add_argument("--days", type=float, help="days to simulate (3, or as long as the forecast)")
    made.add_argument(
        "--learned",
        type=Path,
        metavar="JOURNAL",
        help="rehearse with the vessel this chamber's journal tells of (with --settings)",
    )
    made.add_argument(
        "--forecast",
        help='the garage to come: "-4/6,-8/2" (coldest/warmest of each night) or a CSV file',
    )
    made.add_argument("--target-c", type=float, default=35.0, help="temperature to hold (35 °C)")
    made.add_argument("--profile", help="follow this BeerJSON file or shipped profile instead")
    made.add_argument("--volume-l", type=float, default=20.0, help="litres of beer (20)")
    made.add_argument("--pad-w", type=float, default=60.0, help="watts of the pad (60)")
    made.add_argument("--jacket", default="good", help="good, thin or none (good)")
    made.add_argument("--garage-c", type=float, default=3.0, help="mean of the garage (3 °C)")
    made.add_argument("--swing-k", type=float, default=4.0, help="its swing over a day (4 K)")
    made.add_argument("--start-c", type=float, default=30.0, help="beer at pitching (30 °C)")
    made.add_argument("--original-plato", type=float, default=12.5, help="extract (12.5 °P)")
    made.add_argument("--final-plato", type=float, default=2.8, help="at the end (2.8 °P)")
    made.add_argument(
        "--fault",
        action="append",
        default=[],
        help="something that goes wrong, like beer-missing@30h+20min; may be repeated",
    )
    made.add_argument("--seed", type=int, default=1, help="makes weather and noise (1)")
    made.add_argument("--journal", type=Path, help="keep the journal in this folder")
    made.add_argument("--truth", type=Path, help="write the true gravity once an hour to this file")
    made.add_argument(
        "--then-live",
        action="store_true",
        help="let those days end now, then go on until stopped, telling the settings' broker",
    )
    made.add_argument("--pace", type=float, default=60.0, help="simulated per real second (60)")
    made.add_argument("--json", action="store_true", help="print the score as one JSON object")
    made.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Runs the simulation these arguments describe and prints its score."""
    settings = load(options.settings) if options.settings else _made_up(options)
    garage = _garage(options, settings)
    days = _days(options, garage)
    clock = SystemClock()
    stopped = threading.Event()
    _on_signal(stopped)
    with ExitStack() as stack:
        truth = stack.enter_context(_written(options.truth)) if options.truth else None
        journal = options.journal or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        started = clock.now()
        live = options.then_live
        show = Show(
            days=days,
            journal=journal,
            start_utc_s=started.utc_s - days * DAY_S if live else START_UTC_S,
            pace=options.pace if live else None,
            wait=lambda seconds: _waited(stopped, seconds),
            truth=truth,
            should_stop=stopped.is_set,
            network_clock=clock,
        )
        score = (rehearse if garage.is_rehearsal else simulate)(settings, garage, show)
        score["wall_s"] = round(clock.now().mono_s - started.mono_s, 3)
    print(told(score, options.json))
    return 0


def with_minus(arguments: Sequence[str]) -> list[str]:
    """The arguments with a forecast that begins with a minus joined to its name.

    Otherwise argparse takes it for an option of its own.
    """
    joined: list[str] = []
    for argument in arguments:
        if joined and joined[-1] == "--forecast" and argument.startswith("-"):
            joined[-1] += f"={argument}"
        else:
            joined.append(argument)
    return joined


def _days(options: argparse.Namespace, garage: Garage) -> float:
    days: float = DAYS
    if options.days is not None:
        days = options.days
    elif garage.course:
        days = math.floor(garage.course[-1][0] / 24.0) or 1.0
    if not 0.0 < days <= DAYS_MAX:
        raise SettingsError(
            f"--days {days:g} is not a span to simulate.",
            f"Give more than 0 and at most {DAYS_MAX:g} days.",
        )
    return days


def _made_up(options: argparse.Namespace) -> Settings:
    """Settings for a chamber that exists nowhere, from the command line."""
    aim = f'profile = "{options.profile}"' if options.profile else f"target_c = {options.target_c}"
    text = SIMULATED.format(
        volume_l=options.volume_l, pad_w=options.pad_w, jacket=options.jacket, aim=aim
    )
    return parse(text, Path.cwd())


def _garage(options: argparse.Namespace, settings: Settings) -> Garage:
    if options.then_live and (options.forecast or options.learned):
        raise SettingsError("A rehearsal does not go on live.", "Leave out --then-live.")
    start_hour = START_UTC_S % DAY_S / 3600.0
    course = parse_forecast(options.forecast, start_hour) if options.forecast else ()
    return Garage(
        course=course,
        learned=learned_in(options.learned, settings) if options.learned else None,
        mean_c=options.garage_c,
        swing_k=options.swing_k,
        start_c=options.start_c,
        original_plato=options.original_plato,
        final_plato=options.final_plato,
        faults=tuple(parse_fault(text) for text in options.fault),
        seed=options.seed,
    )


def _waited(stopped: threading.Event, seconds: float) -> None:
    stopped.wait(seconds)


def _written(path: Path) -> TextIO:
    try:
        return path.open("w", encoding="utf-8")
    except OSError as error:
        raise DiskError(f"{path} cannot be written ({error.strerror}).", "Name another.") from error


def _on_signal(stopped: threading.Event) -> None:
    def stop(_number: int, _frame: FrameType | None) -> None:
        stopped.set()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
