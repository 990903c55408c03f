"""Commands of `barmkeep`: run, simulate, check, off, version.

It reads the command line, builds the parts and hands them over. An error is told as what is wrong
and what to do, and ends with code 2.
"""

from __future__ import annotations

import argparse
import logging
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import FrameType
from typing import TextIO

from controller import __version__, chamber, stop
from controller.check import Found, check, table
from controller.commission import Walk, commission
from controller.edge.clock import SystemClock
from controller.edge.probe_reader import ProbeProcess
from controller.errors import BarmkeepError, DiskError, SettingsError
from controller.release import leave_note
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


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit code: 0 well, 1 found something to mend, 2 an error."""
    if not __debug__:
        print(
            "Assertions are part of the defence.\nRun without -O and PYTHONOPTIMIZE.",
            file=sys.stderr,
        )
        return 2
    options = _parser().parse_args(arguments)
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s", stream=sys.stderr)
    try:
        code: int = options.command(options)
    except BarmkeepError as error:
        print(f"{error.what}\n{error.remedy}", file=sys.stderr)
        return 2
    return code


def _run(options: argparse.Namespace) -> int:
    settings = load(options.settings)
    if options.chamber not in (None, settings.chamber.name):
        raise SettingsError(
            f"{options.settings} is the chamber {settings.chamber.name!r}, and the service is that "
            f"of {options.chamber!r}, so its stop step would not find the relay lines.",
            "Give the chamber, the file and the service the same name.",
        )
    chamber.keep(settings, tuple(options.release))
    return 0


def _check(options: argparse.Namespace) -> int:
    settings = load(options.settings)
    print(f"well  settings: {options.settings}", flush=True)
    is_well = table(check(settings), _say)
    if options.commission:
        is_well = table(_commissioned(settings), _say) and is_well
    return 0 if is_well else 1


def _say(line: str) -> None:
    print(line, flush=True)


def _commissioned(settings: Settings) -> Iterator[Found]:
    """The walk with a person, on the real pins and probes; a signal ends it with the relays off."""

    def leave(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, leave)
    signal.signal(signal.SIGHUP, leave)
    clock = SystemClock()
    relays = chamber.opened_relays(settings)
    probes = ProbeProcess(settings.probes, clock)
    try:
        yield from commission(Walk(settings, clock, probes, relays, input))
    finally:
        relays.close()
        probes.close()


def _release(options: argparse.Namespace) -> int:
    leave_note(stop.PINS_FOLDER, options.chamber, options.trip)
    print(
        f"Within ten minutes, standing at the machine: sudo systemctl restart "
        f"barmkeep@{options.chamber}"
    )
    return 0


def _version(_: argparse.Namespace) -> int:
    print(__version__)
    return 0


def _simulate(options: argparse.Namespace) -> int:
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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="barmkeep", description="Holds one chamber of fermenting beer at its temperature."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_run(commands)
    _add_simulate(commands)
    _add_check(commands)
    _add_off(commands)
    released = commands.add_parser("release", help="let a service begin without a latched trip")
    released.add_argument("chamber", help="the chamber, as its service is called")
    released.add_argument("trip", nargs="+", help="a trip whose cause you have found and removed")
    released.set_defaults(command=_release)
    version = commands.add_parser("version", help="print the version")
    version.set_defaults(command=_version)
    return parser


def _add_run(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    run = commands.add_parser("run", help="hold a chamber's temperature until told to stop")
    run.add_argument("settings", type=Path, help="the chamber's settings file")
    run.add_argument(
        "--release",
        action="append",
        default=[],
        metavar="TRIP",
        help="begin without this latched trip; only when you stand at the machine and found why",
    )
    run.add_argument("--chamber", help="refuse the file unless it is this chamber's; for services")
    run.set_defaults(command=_run)


def _add_check(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    looked = commands.add_parser("check", help="look at everything a chamber needs")
    looked.add_argument("settings", type=Path, help="the chamber's settings file")
    looked.add_argument(
        "--commission",
        action="store_true",
        help="then walk through a new build with you: it switches the pad for up to two minutes",
    )
    looked.set_defaults(command=_check)


def _add_off(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    off = commands.add_parser("off", help="drive the relay lines off, even without settings")
    stop.add_arguments(off)
    off.set_defaults(command=stop.stop)


def _add_simulate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    made = commands.add_parser("simulate", help="run the whole controller in a simulated garage")
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
    made.set_defaults(command=_simulate)


if __name__ == "__main__":
    sys.exit(main())
