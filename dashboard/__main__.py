"""Commands of `barmkeep-dashboard`: serve | demo | user | token | backup | restore.

It reads the command line and this machine's clock, and hands both on. An error is said in two
sentences, what is wrong and what to do, and ends the command with status 2.
"""

from __future__ import annotations

import argparse
import logging
import math
import signal
import sys
import time  # noqa: TID251  -- the one file of the dashboard that asks the clock
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from controller.errors import BarmkeepError
from dashboard import settings
from dashboard.access import commands as access_commands
from dashboard.demo import stage
from dashboard.keeping import copying
from dashboard.serving import listening, opened, serve

TROUBLE = 2  # Why: the status argparse itself ends with, so there is one to look for.
DAYS_MAX = 14.0  # Why: a fortnight takes about twenty seconds to simulate.
FIRST_USER = (
    "Nobody is asked to sign in, so they are served on this machine only. To make the first user:\n"
    "  barmkeep-dashboard user add NAME --role changer --settings {settings}"
)
PACE_MAX = 3600.0  # Why: an hour a second; faster is no longer a curve one can watch.


def main(words: Sequence[str] | None = None) -> int:
    """Run one command. Its exit status: 0, or 2 when a person must put something right."""
    asked = _parser().parse_args(words)
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    signal.signal(signal.SIGTERM, _interrupt)
    try:
        asked.command(asked)
    except BarmkeepError as error:
        print(f"{error.what}\n{error.remedy}", file=sys.stderr)
        return TROUBLE
    except KeyboardInterrupt:
        return 0
    return 0


def _interrupt(_number: int, _frame: object) -> None:
    raise KeyboardInterrupt


def _serve(asked: argparse.Namespace) -> None:
    found = settings.read(asked.settings)
    with listening(found.web) as at, opened(found, time.time) as parts:
        print(f"The pages are at http://{found.web.host}:{found.web.port}/", flush=True)
        if not parts.access.asks:
            print(FIRST_USER.format(settings=asked.settings), flush=True)
        serve(parts.app, at)


def _demo(asked: argparse.Namespace) -> None:
    chosen = stage.DemoSettings(asked.days, asked.pace, asked.port, asked.broker, asked.folder)
    stage.run(chosen, time.time, lambda line: print(line, flush=True))


def _back_up(asked: argparse.Namespace) -> None:
    store = Path(settings.read(asked.settings).store.path)
    size = copying.back_up(store, asked.file)
    print(f"{asked.file} holds a whole copy, {size / 1e6:.1f} MB. Users and tokens are not in it.")


def _restore(asked: argparse.Namespace) -> None:
    store = Path(settings.read(asked.settings).store.path)
    aside = copying.restore(asked.file, store, time.time())
    print(f"{store} is now what {asked.file} held; the controllers send again what it lacks.")
    if aside is not None:
        print(f"What stood there before is {aside}.")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="barmkeep-dashboard",
        description="Shows what every fermenting chamber does and did, and what comes next.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    serving = commands.add_parser(
        "serve", help="listen to the controllers and serve the pages", description=_serve.__doc__
    )
    serving.add_argument(
        "--settings", type=Path, required=True, metavar="FILE", help="the file dashboard.toml"
    )
    serving.set_defaults(command=_serve)
    _declare_demo(commands)
    access_commands.declare(commands, time.time)
    for name, meaning, command in (
        ("backup", "copy the whole store into a new file, while it is in use or not", _back_up),
        ("restore", "put a copy in the store's place; the old store is kept", _restore),
    ):
        copying_one = commands.add_parser(
            name, help=meaning, description=f"{meaning[0].upper()}{meaning[1:]}."
        )
        copying_one.add_argument("file", type=Path, metavar="FILE", help="the copy")
        access_commands.settings_of(copying_one)
        copying_one.set_defaults(command=command)
    return parser


def _declare_demo(commands: Any) -> None:
    demo = commands.add_parser(
        "demo",
        help="watch a simulated batch on this machine, with no hardware and no settings",
        description="Simulates a winter garage with the real controller and shows it. Nothing is"
        " left when it ends.",
    )
    demo.add_argument(
        "--pace",
        type=_number(1.0, PACE_MAX),
        default=60.0,
        metavar="N",
        help="how many times faster than real time it goes on (default 60)",
    )
    demo.add_argument(
        "--days",
        type=_number(0.1, DAYS_MAX),
        default=4.0,
        metavar="N",
        help="simulated days that have passed when the page opens (default 4)",
    )
    demo.add_argument(
        "--port", type=_port, default=8124, metavar="N", help="port of the pages (default 8124)"
    )
    demo.add_argument(
        "--broker",
        type=_host_and_port,
        metavar="HOST:PORT",
        help="a broker on this machine to use instead of a private one",
    )
    demo.add_argument(
        "--folder",
        type=Path,
        metavar="DIR",
        help="keep journal and store in this new folder (default: a temporary one)",
    )
    demo.set_defaults(command=_demo)


def _number(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is no number from {low:g} to {high:g}")
        return value

    return read


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 65_535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; ports are 1 to 65535")
    return int(text)


def _host_and_port(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not colon or not host:
        raise argparse.ArgumentTypeError(f"{text!r} is not HOST:PORT, like 127.0.0.1:1883")
    return host.strip("[]"), _port(port)


if __name__ == "__main__":
    sys.exit(main())
