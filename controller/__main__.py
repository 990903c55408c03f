"""Commands of `barmkeep`: run, simulate, check, learn, off, release, version.

It reads the command line, builds the parts and hands them over. An error is told as what is wrong
and what to do, and ends with code 2.
"""

from __future__ import annotations

import argparse
import logging
import signal
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import FrameType

from controller import __version__, chamber, stop, vessel_report
from controller.check import Found, check, table
from controller.commission import Walk, commission
from controller.edge.clock import SystemClock
from controller.edge.probe_reader import ProbeProcess
from controller.errors import BarmkeepError, SettingsError
from controller.ice_point import ice_point
from controller.release import leave_note
from controller.settings import Settings, load
from controller.simulation import simulating


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit code: 0 well, 1 found something to mend, 2 an error."""
    if not __debug__:
        print(
            "Assertions are part of the defence.\nRun without -O and PYTHONOPTIMIZE.",
            file=sys.stderr,
        )
        return 2
    given = sys.argv[1:] if arguments is None else arguments
    options = _parser().parse_args(simulating.with_minus(given))
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
    chamber.keep(settings, tuple(options.release), options.forget)
    return 0


def _check(options: argparse.Namespace) -> int:
    settings = load(options.settings)
    if options.ice_point is not None:
        return _ice_point(settings, options.ice_point)
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


def _ice_point(settings: Settings, role_name: str) -> int:
    clock = SystemClock()
    try:
        outcome = ice_point(settings.probes, role_name, clock, _say)
    finally:
        clock.close()
    _say(outcome.text)
    return 0 if outcome.offset_k is not None else 1


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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="barmkeep", description="Holds one chamber of fermenting beer at its temperature."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_run(commands)
    made = commands.add_parser("simulate", help="run the whole controller in a simulated garage")
    simulating.add_arguments(made)
    learns = commands.add_parser("learn", help="what a chamber's journal tells of its vessel")
    vessel_report.add_arguments(learns)
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
    run.add_argument(
        "--forget",
        action="store_true",
        help="begin without what was learned of the vessel: its jacket, pad or volume has changed",
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
    looked.add_argument(
        "--ice-point",
        metavar="PROBE",
        help="only calibrate this probe (beer, garage, air, pad) in melting ice, step by step",
    )
    looked.set_defaults(command=_check)


def _add_off(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    off = commands.add_parser("off", help="drive the relay lines off, even without settings")
    stop.add_arguments(off)
    off.set_defaults(command=stop.stop)


if __name__ == "__main__":
    sys.exit(main())
