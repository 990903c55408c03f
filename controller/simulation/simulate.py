"""Simulate: the whole controller in a simulated garage, as `barmkeep simulate` runs it.

The same loop, libraries, journal and courier as in earnest; only the garage, its pins and probe
files and the clock are made. By default it runs flat out and is judged by the true temperatures.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TextIO

from controller import loop, report
from controller.chamber import courier_of
from controller.decision.decide import Plan, State
from controller.decision.learning import LearningMemory
from controller.decision.vocabulary import Decision, Fault, Moment, Reading, Relay, Role
from controller.edge.clock import Clock
from controller.edge.journal import Journal
from controller.edge.orders import Inbox
from controller.edge.probes import LocalProbes, ProbeSettings
from controller.edge.relays import Relays
from controller.edge.standing import Standing
from controller.edge.watchdog import Watchdog
from controller.settings import Settings
from controller.simulation.faults import PlannedFault
from controller.simulation.ferment import FermentSettings
from controller.simulation.onewire import SimulatedProbe
from controller.simulation.plant import GarageSettings
from controller.simulation.score import Score
from controller.simulation.weather import WeatherSettings
from controller.simulation.world import Pace, Scene, World
from controller.thermal.learn import recalled
from controller.thermal.learned import Learned
from controller.wire import Reply

DAY_S = 86_400.0  # Why: a definition.
PUMP_EVERY_S = (
    0.05  # Why: a window of lines at each turn is 14,000 a second, more than is taken in.
)
TRUTH_EVERY_S = 3600.0  # Why: a brewer reads a hydrometer no more often.
# Source: 12:00 UTC on 15 January 2026, an arbitrary winter noon; without a live end the date must
# not depend on today, or the same seed would not give the same journal.
START_UTC_S = 1_768_478_400.0
PAD_W = 60.0  # Why: the pad whose contact and heat capacity `plant.py` gives.
JACKET_OF = {"good": "good", "thin": "thin", "none": "bare"}


@dataclass(frozen=True, slots=True)
class Garage:
    """What the command line says of the simulated garage.

    Args:
        mean_c: its mean temperature over a day.
        swing_k: how far a day swings to either side.
        start_c: the beer's temperature at pitching.
        original_plato: extract at pitching; 0 is water.
        final_plato: apparent extract at the end.
        faults: what goes wrong, and when.
        seed: makes the weather and the noise.
        course: the garage's air by (hours from the start, °C), in the place of mean and swing.
        learned: the vessel as it was learned, in the place of its description; the controller
            begins with the same knowledge.
        volume_l: litres truly in the vessel; None for what the settings say.
        cutout_c: where the pad's own cut-out opens; None for a pad without one.
    """

    mean_c: float = 3.0
    swing_k: float = 4.0
    start_c: float = 30.0
    original_plato: float = 12.5
    final_plato: float = 2.8
    faults: tuple[PlannedFault, ...] = ()
    seed: int = 1
    course: tuple[tuple[float, float], ...] = ()
    learned: Learned | None = None
    volume_l: float | None = None
    cutout_c: float | None = None

    @property
    def is_rehearsal(self) -> bool:
        """Whether it asks what will be, and not how good the controller is."""
        return bool(self.course) or self.learned is not None


@dataclass(frozen=True, slots=True)
class Show:
    """How long it lasts, and what becomes of it.

    Args:
        days: simulated days that run flat out.
        journal: where the journal is written.
        start_utc_s: the simulated wall clock at the start.
        pace: simulated seconds per real second after those days; None stops there.
        wait: really waits so many seconds (only with a pace).
        truth: takes a line of JSON an hour with the true gravity and temperature; None for none.
        should_stop: whether somebody asked it to stop.
        network_clock: this machine's clock, by which the courier waits for answers; needed with a
            pace.
    """

    days: float
    journal: Path
    start_utc_s: float = START_UTC_S
    pace: float | None = None
    wait: Callable[[float], None] = lambda _: None
    truth: TextIO | None = None
    should_stop: Callable[[], bool] = lambda: False
    network_clock: Clock | None = None


def scene_of(settings: Settings, garage: Garage, start_utc_s: float) -> Scene:
    """The simulated chamber these settings describe: same vessel, probes and relays."""
    vessel = settings.vessel
    plant = GarageSettings.jacketed(
        JACKET_OF[vessel.jacket],
        volume_l=vessel.volume_l,
        pad_w=vessel.pad_w,
        fan_w_per_k=vessel.fan_w_per_k if settings.relays.fan_gpio is not None else 0.0,
        start_c=garage.start_c,
        weather=_weather(garage),
        ferment=FermentSettings(
            original_plato=garage.original_plato, final_plato=garage.final_plato
        ),
    )
    surface = (vessel.volume_l / 20.0) ** (2.0 / 3.0)
    pad_share = vessel.pad_w / PAD_W  # Why: pads of any size have about the same watts per area.
    plant = replace(
        plant,
        volume_l=garage.volume_l or vessel.volume_l,
        loss_w_per_k=plant.loss_w_per_k * surface,
        pad_contact_w_per_k=plant.pad_contact_w_per_k * pad_share,
        pad_j_per_k=plant.pad_j_per_k * pad_share,
        cutout_c=garage.cutout_c,
    )
    if garage.learned is not None:
        plant = replace(plant, loss_w_per_k=garage.learned.loss_w_per_k, pad_w=garage.learned.pad_w)
    lines = {Relay.HEAT: settings.relays.heat_gpio, Relay.FAN: settings.relays.fan_gpio}
    return Scene(
        garage=plant,
        probes=tuple(
            SimulatedProbe(role, rom_id=rom) for role, rom in settings.probes.fitted().items()
        ),
        relays={relay: gpio for relay, gpio in lines.items() if gpio is not None},
        active_high=settings.relays.active_high,
        seed=garage.seed,
        start_utc_s=start_utc_s,
        faults=garage.faults,
    )


def _weather(garage: Garage) -> WeatherSettings:
    if garage.course:
        return WeatherSettings(course=garage.course, wander_k=0.0)
    return WeatherSettings(mean_c=garage.mean_c, swing_k=garage.swing_k)


def _beginning(plan: Plan, garage: Garage) -> State:
    """The controller's first state: it knows what is known of its vessel."""
    return State(learning=LearningMemory(recalled(plan.course, garage.learned)))


def simulate(settings: Settings, garage: Garage, show: Show) -> dict[str, float | int | None]:
    """Runs the controller in the garage and returns how well it was held.

    Raises:
        DiskError: the journal's folder cannot be used.
    """
    scene = scene_of(settings, garage, show.start_utc_s)
    flat_out_until_s = scene.start_mono_s + show.days * DAY_S
    pace = None if show.pace is None else Pace(show.pace, show.wait, flat_out_until_s)
    with World(scene, pace) as world:
        journal = Journal.open(
            show.journal, settings.journal, world.now(), f"{garage.seed & 0xFFFF:04x}"
        )
        speaker = report.speaker_of(settings, journal.boot)
        inbox, courier = None, None
        if show.pace is not None:
            # Why: orders live and expire in real seconds, however fast the garage runs.
            standing = Standing(journal.folder, speaker.batch)
            inbox = Inbox(speaker.chamber, show.network_clock or world, standing)
            courier = courier_of(settings, journal, speaker, world, inbox)
        probes = _PatientProbes(
            replace(settings.probes, folder=str(world.bus.folder)),
            world,
        )
        relays = Relays(settings.relays, world.pins)
        telling = _in_real_time(courier, show.network_clock)
        parts = loop.Parts(
            world, probes, relays, journal, telling, Watchdog(None, None), float("inf"), inbox
        )
        watcher = _Watcher(world, show, flat_out_until_s)
        try:
            loop.tell(parts, speaker, "controller", "begun", "The simulation started.")
            plan = settings.plan()
            loop.run(plan, _beginning(plan, garage), parts, speaker, watcher)
        finally:
            relays.close()
            if courier is not None:
                courier.close(world.now())
            journal.close(world.now())
        score = watcher.score
        return score.as_dict() | (score.shortfall() if garage.is_rehearsal else {})


class _PatientProbes(LocalProbes):
    """Probes of which one that hangs is told as late, as the process that reads them would.

    Waiting for it would stop the simulated clock, and with it everything.
    """

    def __init__(self, settings: ProbeSettings, clock: Clock) -> None:
        super().__init__(settings, clock)
        folder = Path(settings.folder)
        self._files = {role: folder / rom / "w1_slave" for role, rom in settings.fitted().items()}

    def read_one(self, wanted: Role) -> Reading:
        if self._files[wanted].is_fifo():
            return Reading(wanted, self._clock.now().mono_s, fault=Fault.LATE)
        return super().read_one(wanted)


def _in_real_time(courier: loop.Courier | None, clock: Clock | None) -> loop.Courier | None:
    return courier if courier is None or clock is None else _InRealTime(courier, clock)


class _InRealTime:
    """A courier whose waits are real seconds, however fast the garage runs.

    By the garage's clock a minute's wait for an answer is over in milliseconds, and everything
    would be sent again and again.
    """

    def __init__(self, courier: loop.Courier, clock: Clock) -> None:
        self._courier = courier
        self._clock = clock
        self._due_mono_s = float("-inf")

    def say(self, reply: Reply) -> None:
        self._courier.say(reply)
        self._due_mono_s = float("-inf")

    def pump(self, now: Moment) -> None:
        mono_s = self._clock.now().mono_s
        if mono_s >= self._due_mono_s:
            self._due_mono_s = mono_s + PUMP_EVERY_S
            self._courier.pump(replace(now, mono_s=mono_s))


class _Watcher:
    """Looks at every tick: keeps the score, writes the truth, and says when it is over."""

    def __init__(self, world: World, show: Show, end_mono_s: float) -> None:
        self.score = Score(world)
        self._world = world
        self._show = show
        self._end_mono_s = end_mono_s
        self._truth_due_s = 0.0

    def __call__(self, state: State, decision: Decision) -> bool:
        self.score.tick(decision.target_c)
        self.score.alarms += sum(each.state == "raised" for each in decision.transitions)
        now = self._world.now()
        if self._show.truth is not None and now.mono_s >= self._truth_due_s:
            self._truth_due_s = now.mono_s + TRUTH_EVERY_S
            self._write_truth(self._show.truth, now.utc_s)
        is_over = self._show.pace is None and now.mono_s >= self._end_mono_s
        return is_over or self._show.should_stop()

    def _write_truth(self, truth: TextIO, utc_s: float) -> None:
        garage = self._world.garage
        facts = {
            "utc_s": utc_s,
            "apparent_plato": round(garage.apparent_plato, 4),
            "beer_c": round(garage.beer_c, 4),
        }
        truth.write(json.dumps(facts) + "\n")
        truth.flush()
