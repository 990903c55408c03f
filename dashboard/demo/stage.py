"""The whole demo: a private broker, the real controller in a simulated garage, and this dashboard.

Everything it makes is in one folder of its own and everything it starts is on a leash, so that
nothing is left when it ends. The controller runs as its own process through its own command, writes
an ordinary journal and is heard through an ordinary broker: the demo shows the real thing.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from controller.errors import BarmkeepError, BrokerError, DiskError
from dashboard.demo.brewer import Brewer, Recipe
from dashboard.demo.broker import HOST, PrivateBroker, answers
from dashboard.demo.child import Child
from dashboard.serving import listening, opened, serve
from dashboard.settings import (
    BrokerSettings,
    DashboardSettings,
    HydrometerSettings,
    StoreSettings,
    WebSettings,
)

CHAMBER = "demo-garage"
COMMIT_S = 1.0  # Why: somebody watches, and the demo's disk matters to nobody.
LOOK_S = 0.5  # Why: how soon a reading is typed after its hour.
NOTE = (
    "This is a demo: a simulated garage, shown on this machine only and without signing in. When it"
    " ends everything is forgotten."
)
CHAMBER_TOML = """\
# The demo's chamber: a simulated garage in winter, a jacket, a heat pad and a fan.

[chamber]
name = "{chamber}"

[vessel]
volume_l = {volume_l}
pad_w = 60
jacket = "good"

[probes]
beer = "28-00000000be01"
garage = "28-00000000be02"
pad = "28-00000000be03"

[relays]
heat_gpio = 17
fan_gpio = 27

[batch]
name = "{batch}"
profile = "hot-kveik"

[journal]
folder = "{folder}"

[broker]
host = "{host}"
port = {port}
"""


@dataclass(frozen=True, slots=True)
class DemoSettings:
    """What the command line may say.

    Args:
        days: simulated days that have passed when it opens.
        pace: how many times faster than real time it goes on.
        port: where the pages are.
        broker: host and port of a broker to use; None: a private one.
        folder: where everything is kept afterwards; None: nowhere.
    """

    days: float = 4.0
    pace: float = 60.0
    port: int = 8124
    broker: tuple[str, int] | None = None
    folder: Path | None = None


def run(settings: DemoSettings, clock: Callable[[], float], say: Callable[[str], None]) -> None:
    """The demo, until SIGINT or SIGTERM.

    Raises:
        BarmkeepError: something it needs cannot be had; or one of its programs ended by itself.
    """
    web = WebSettings(port=settings.port)
    with contextlib.ExitStack() as stack:
        at = stack.enter_context(listening(web))
        folder = stack.enter_context(_folder(settings.folder))
        host, port, ends = _broker(settings, folder, stack, say)
        dashboard = DashboardSettings(
            web=web,
            broker=BrokerSettings(host=host, port=port),
            store=StoreSettings(path=str(folder / "dashboard.db"), commit_s=COMMIT_S),
            hydrometer=HydrometerSettings(),
        )
        parts = stack.enter_context(opened(dashboard, clock, NOTE))
        recipe = Recipe()
        garage = _garage(settings, folder, recipe, (host, port))
        stack.callback(garage.end)
        brewer = Brewer(parts.store, CHAMBER, recipe, folder / "truth.jsonl")
        stack.enter_context(_looking(brewer))
        say(f"Open http://{HOST}:{settings.port}/ and stop with Ctrl-C.")
        serve(parts.app, at, lambda: garage.has_ended or ends())
        if garage.has_ended:
            raise BarmkeepError(
                f"The simulated controller ended by itself: {garage.last_words()}",
                "Start the demo again.",
            )
        if ends():
            raise BrokerError("The private broker ended by itself.", "Start the demo again.")


@contextlib.contextmanager
def _folder(named: Path | None) -> Iterator[Path]:
    """The demo's own folder: a temporary one that goes away, or a new one that stays."""
    try:
        if named is None:
            folder = Path(tempfile.mkdtemp(prefix="barmkeep-demo-"))
        else:
            folder = named.absolute()
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise DiskError(
                    f"The folder {folder} is not empty; another demo may be using it.",
                    "Name a new folder, or leave --folder out.",
                )
    except OSError as error:
        if isinstance(error, DiskError):
            raise
        raise DiskError(
            f"The demo's folder cannot be made: {error}.", "Free some space, or name another place."
        ) from error
    try:
        yield folder
    finally:
        if named is None:
            shutil.rmtree(folder, ignore_errors=True)


def _broker(
    settings: DemoSettings,
    folder: Path,
    stack: contextlib.ExitStack,
    say: Callable[[str], None],
) -> tuple[str, int, Callable[[], bool]]:
    """Host and port of the broker, and whether it has ended."""
    if settings.broker is not None:
        host, port = settings.broker
        if not answers(host, port):
            raise BrokerError(
                f"No broker answers on {host}:{port}.", "Start it, or leave --broker out."
            )
        return host, port, lambda: False
    broker = PrivateBroker(folder)
    stack.callback(broker.end)
    say(f"A private broker ({broker.name}) runs on {HOST}:{broker.port}.")
    return HOST, broker.port, lambda: broker.has_ended


def _garage(settings: DemoSettings, folder: Path, recipe: Recipe, broker: tuple[str, int]) -> Child:
    """The real controller in its simulated garage."""
    toml = folder / "chamber.toml"
    host, port = broker
    try:
        toml.write_text(
            CHAMBER_TOML.format(
                chamber=CHAMBER,
                volume_l=recipe.volume_l,
                batch=recipe.name,
                folder=folder / "journal",
                host=host,
                port=port,
            ),
            encoding="utf-8",
        )
    except OSError as error:
        raise DiskError(f"{toml} cannot be written: {error}.", "Free some space.") from error
    command = [sys.executable, "-m", "controller", "simulate", "--settings", str(toml)]
    command += ["--days", f"{settings.days:g}", "--then-live", "--pace", f"{settings.pace:g}"]
    command += ["--truth", str(folder / "truth.jsonl"), "--journal", str(folder / "journal")]
    return Child("controller", command, folder)


@contextlib.contextmanager
def _looking(brewer: Brewer) -> Iterator[None]:
    """The brewer at work in a thread of their own."""
    over = threading.Event()

    def look() -> None:
        while not over.wait(LOOK_S):
            # A full disk is told by the page; the brewer tries again with the next reading.
            with contextlib.suppress(BarmkeepError):
                brewer.look()

    thread = threading.Thread(target=look, name="brewer", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
