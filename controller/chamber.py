"""Chamber: one real chamber, from its settings to a running loop.

It opens every outside thing, restores what an earlier life left, and makes sure the relays are off
however it ends. What to switch is decided elsewhere.
"""

from __future__ import annotations

import logging
import os
import signal
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import FrameType

from controller import loop, report
from controller.decision.decide import State
from controller.decision.interlock_rules import LIMIT_MARGIN_K
from controller.decision.vocabulary import Decision
from controller.edge.clock import Clock, SystemClock
from controller.edge.courier import Courier
from controller.edge.homie.device import Fitted
from controller.edge.homie.publisher import Publisher
from controller.edge.journal import Journal
from controller.edge.orders import Inbox
from controller.edge.pins import note_pins, open_pin_factory
from controller.edge.probe_reader import ProbeProcess
from controller.edge.relays import Relays
from controller.edge.standing import Standing
from controller.edge.watchdog import Watchdog
from controller.errors import DiskError
from controller.release import known_trips, taken_note
from controller.resume import Inherited, resumed
from controller.settings import Settings
from controller.stop import PINS_FOLDER
from controller.vessel_memory import forget_learned, is_to_forget, recalling
from controller.wire import Presence, PresenceState, Tick

PIN_FACTORY = "lgpio"  # Why: the one library that drives every Raspberry Pi from 3 to 5.

_log = logging.getLogger(__name__)


def keep(settings: Settings, release: tuple[str, ...] = (), forget: bool = False) -> None:
    """Runs this chamber until told to stop by SIGTERM or SIGINT.

    Args:
        settings: the chamber.
        release: codes of latched trips that whoever stands at the machine has put right.
        forget: begin without what was learned of the vessel.

    Raises:
        BarmkeepError: something it needs is not there; the relays were never driven.
    """
    release = known_trips(release)
    clock = SystemClock()
    release += taken_note(PINS_FOLDER, settings.chamber.name, clock.now())
    journal = Journal.open(journal_folder(settings), settings.journal, clock.now())
    try:
        if forget:
            forget_learned(journal.folder)
        last = journal.last_tick()
        relays = opened_relays(settings, last)
        try:
            _live(settings, clock, journal, relays, release)
        finally:
            relays.close()
    finally:
        journal.close(clock.now())


def opened_relays(settings: Settings, last: Tick | None = None) -> Relays:
    """The relays of this chamber, off, with their lines noted for the stop step.

    Args:
        settings: which lines.
        last: the tick that says how often each had switched; None to count from nothing.

    Raises:
        WiringError: the chip or a line cannot be had.
        DiskError: the lines cannot be noted.
    """
    factory = open_pin_factory(PIN_FACTORY)
    _note(settings)
    return Relays(
        settings.relays,
        factory,
        heat_starts=last.heat_starts if last else 0,
        fan_starts=last.fan_starts if last else 0,
    )


def _live(
    settings: Settings,
    clock: SystemClock,
    journal: Journal,
    relays: Relays,
    release: tuple[str, ...],
) -> None:
    speaker = report.speaker_of(settings, journal.boot)
    last = journal.last_tick()
    standing = Standing(journal.folder, speaker.batch)
    inherited = Inherited(speaker.batch, standing.begun)
    state = resumed(last, inherited, clock.now(), release)
    plan = settings.plan()
    if not is_to_forget(journal.folder):
        state = recalling(plan, state, last, speaker.vessel)
    watchdog = Watchdog.from_environment(os.environ)
    probes = ProbeProcess(settings.probes, clock)
    inbox = Inbox(speaker.chamber, clock, standing)
    courier = courier_of(settings, journal, speaker, clock, inbox)
    hub = hub_of(settings, clock, inbox)
    parts = loop.Parts(clock, probes, relays, journal, courier, watchdog, orders=inbox, hub=hub)
    stop = _stopper(clock)
    begun = _begun(last is not None, state, release)
    try:
        speaker_now = replace(speaker, batch=inherited.name)
        loop.tell(parts, speaker_now, "controller", "begun", begun)
        if standing.trouble is not None:
            loop.tell(parts, speaker_now, "order", "ended", standing.trouble)
        watchdog.ready()
        loop.run(plan, state, parts, speaker, stop)
        loop.tell(parts, speaker, "controller", "ended", "Told to stop; heat and fan are off.")
    finally:
        relays.off()
        watchdog.stopping()
        probes.close()
        if hub is not None:
            hub.close()
        if courier is not None:
            courier.close(clock.now())


def courier_of(
    settings: Settings,
    journal: Journal,
    speaker: report.Speaker,
    clock: Clock,
    inbox: Inbox | None = None,
) -> Courier | None:
    """Who carries the journal to the broker, and orders to the inbox; None when the settings name
    no broker.
    """
    if settings.broker is None:
        return None

    def presence(state: PresenceState) -> Presence:
        return report.presence(speaker, state, clock.now())

    return Courier(settings.broker, journal, presence, inbox)


def hub_of(settings: Settings, clock: Clock, inbox: Inbox) -> Publisher | None:
    """Who shows the chamber to hubs; None when the settings do not ask for it."""
    if settings.homie is None or settings.broker is None:
        return None
    roles = ("beer", "garage", "air", "pad")
    fitted = Fitted(
        settings.chamber.name,
        tuple(role for role in roles if getattr(settings.probes, role) is not None),
        settings.relays.fan_gpio is not None,
        settings.limits.beer_c_max - LIMIT_MARGIN_K,
        settings.homie.settable,
    )
    return Publisher(settings.homie, settings.broker, fitted, clock, inbox.hear)


def journal_folder(settings: Settings) -> Path:
    """Where this chamber's journal is."""
    return Path(settings.journal.folder) / settings.chamber.name


def _note(settings: Settings) -> None:
    """Notes the lines for the stop step; without that note it must be told them."""
    try:
        PINS_FOLDER.mkdir(parents=True, exist_ok=True)
        note_pins(PINS_FOLDER, settings.chamber.name, settings.relays.claimed())
    except OSError as error:
        raise DiskError(
            f"The relay lines cannot be noted in {PINS_FOLDER} ({error.strerror}), and without "
            "that note `barmkeep off` would not know them.",
            f"Create {PINS_FOLDER} and give it to the user this program runs as.",
        ) from error


def _begun(was_here: bool, state: State, release: tuple[str, ...]) -> str:
    words = ["Started."]
    if was_here and state.profile.has_begun:
        words.append(f"Step {state.profile.index + 1} goes on where it was.")
    if state.profile.hold is not None:
        words.append(f"Still held at {state.profile.hold.target_c:.1f} °C by an order.")
    if state.interlocks.trips:
        words.append(f"Still stopped for safety: {', '.join(state.interlocks.trips)}.")
    if release:
        words.append(f"Released at the machine: {', '.join(release)}.")
    return " ".join(words)


def _stopper(clock: SystemClock) -> Callable[[State, Decision], bool]:
    """Lets SIGTERM and SIGINT end the loop after the tick it is in."""
    asked: list[int] = []

    def ask(number: int, _: FrameType | None) -> None:
        asked.append(number)
        clock.interrupt()

    signal.signal(signal.SIGTERM, ask)
    signal.signal(signal.SIGINT, ask)
    return lambda _state, _decision: bool(asked)
