"""Simulating: the command `barmkeep simulate`, from its arguments to its score.

It only reads the command line and builds what `simulate.py` needs.
"""

from __future__ import annotations

import argparse
import signal
import tempfile
import threading
from contextlib import ExitStack
from pathlib import Path
from types import FrameType
from typing import TextIO

from controller.edge.clock import SystemClock
from controller.errors import DiskError, SettingsError
from controller.settings import Settings, load, parse
from controller.simulation.faults import parse_fault
from controller.simulation.simulate import DAY_S, START_UTC_S, Garage, Show, simulate
from controller.simulation.told import told

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
    made.add_argument("--days", type=float, default=3.0, help="days to simulate (3)")
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
    if not 0.0 < options.days <= DAYS_MAX:
        raise SettingsError(
            f"--days {options.days:g} is not a span to simulate.",
            f"Give more than 0 and at most {DAYS_MAX:g} days.",
        )
    settings = load(options.settings) if options.settings else _made_up(options)
    clock = SystemClock()
    stopped = threading.Event()
    _on_signal(stopped)
    with ExitStack() as stack:
        truth = stack.enter_context(_written(options.truth)) if options.truth else None
        journal = options.journal or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        started = clock.now()
        live = options.then_live
        show = Show(
            days=options.days,
            journal=journal,
            start_utc_s=started.utc_s - options.days * DAY_S if live else START_UTC_S,
            pace=options.pace if live else None,
            wait=lambda seconds: _waited(stopped, seconds),
            truth=truth,
            should_stop=stopped.is_set,
            network_clock=clock,
        )
        score = simulate(settings, _garage(options), show)
        score["wall_s"] = round(clock.now().mono_s - started.mono_s, 3)
    print(told(score, options.json))
    return 0


def _made_up(options: argparse.Namespace) -> Settings:
    """Settings for a chamber that exists nowhere, from the command line."""
    aim = f'profile = "{options.profile}"' if options.profile else f"target_c = {options.target_c}"
    text = SIMULATED.format(
        volume_l=options.volume_l, pad_w=options.pad_w, jacket=options.jacket, aim=aim
    )
    return parse(text, Path.cwd())


def _garage(options: argparse.Namespace) -> Garage:
    return Garage(
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
