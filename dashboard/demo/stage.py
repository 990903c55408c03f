"""The whole demo: a private broker, real controllers in simulated garages, and this dashboard.

Everything it makes is in one folder of its own and everything it starts is on a leash, so that
nothing is left when it ends. Each controller runs as its own process through its own command,
writes an ordinary journal and is heard through an ordinary broker: the demo shows the real thing.
Its batch had a cold night in which the jacket had slid down; a second one is a day old.
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
from dashboard.sheet import words

CHAMBER = "demo-garage"
SECOND = "demo-cellar"
SECOND_DAYS = 1.0  # Why: with a quarter of the work it is ready before the first.
SECOND_DAYS_MIN = 3.0  # Why: a shorter demo is asked for to be quick.
# Why: in these nine hours of an evening and a night, on the first or second day, the yeast is at
# its busiest; so that the night costs what a brewer would ask about.
NIGHT_HOUR, NIGHT_H, NIGHT_FROM_H = 21, 9.0, 10.0
NIGHT_LOSS, NIGHT_K = 3.0, -5.0  # Why: half a jacket off, and a frost; the beer sinks by 7 K.
NIGHT_WORDS = "The jacket had slid down in the night. Pulled it up and tied it."
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


@dataclass(frozen=True, slots=True)
class _Scene:
    """One chamber of the demo, with what goes wrong in its garage."""

    chamber: str
    recipe: Recipe
    days: float
    folder: Path
    faults: tuple[str, ...] = ()


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
        garages = []
        for scene in _scenes(settings, folder, clock() - settings.days * words.DAY_S):
            garages.append(_garage(scene, settings.pace, (host, port)))
            stack.callback(garages[-1].end)
            truth = scene.folder / "truth.jsonl"
            brewer = Brewer(parts.store, scene.chamber, scene.recipe, truth)
            stack.enter_context(_looking(brewer))
        say(f"Open http://{HOST}:{settings.port}/ and stop with Ctrl-C.")
        serve(parts.app, at, lambda: ends() or any(each.has_ended for each in garages))
        for garage in garages:
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


def _scenes(settings: DemoSettings, folder: Path, start_utc_s: float) -> tuple[_Scene, ...]:
    """The chambers of the demo: a batch that had a cold night, and a younger one beside it."""
    from_h = _night_from_h(start_utc_s)
    night = f"@{from_h:.2f}h+{NIGHT_H:g}h"
    first = _Scene(
        CHAMBER,
        Recipe(night_words=NIGHT_WORDS, night_h=from_h + NIGHT_H),
        settings.days,
        folder,
        (f"jacket-open={NIGHT_LOSS:g}{night}", f"garage-warmed={NIGHT_K:g}{night}"),
    )
    if settings.days < SECOND_DAYS_MIN:
        return (first,)
    second = Recipe("Winter two", volume_l=18.0)
    return (
        first,
        _Scene(
            SECOND,
            second,
            SECOND_DAYS,
            folder / SECOND,
            ("garage-warmed=4@0h", "yeast-slow=0.85@0h"),
        ),
    )


def _night_from_h(start_utc_s: float) -> float:
    """How many hours after the start the cold night begins: the first evening with the yeast at
    work.
    """
    start = words.local(start_utc_s, None)
    since_h = (NIGHT_HOUR - start.hour - start.minute / 60.0) % 24.0
    return since_h if since_h >= NIGHT_FROM_H else since_h + 24.0


def _garage(scene: _Scene, pace: float, broker: tuple[str, int]) -> Child:
    """The real controller in its simulated garage."""
    folder, recipe, (host, port) = scene.folder, scene.recipe, broker
    toml = folder / "chamber.toml"
    try:
        folder.mkdir(exist_ok=True)
        toml.write_text(
            CHAMBER_TOML.format(
                chamber=scene.chamber,
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
    command += ["--days", f"{scene.days:g}", "--then-live", "--pace", f"{pace:g}"]
    command += ["--truth", str(folder / "truth.jsonl"), "--journal", str(folder / "journal")]
    for fault in scene.faults:
        command += ["--fault", fault]
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
