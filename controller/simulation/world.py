"""A whole simulated chamber: garage, pins, probes, faults, and the clock that moves them.

It stands in for everything outside the controller. It is a clock to the loop: sleeping until an
instant lets the physics happen up to it and rewrites the probe files. Flat out by default; with a
`Pace` it also really waits. It decides nothing and asks no real clock.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import inf

from controller.decision.vocabulary import Moment, Relay, Role
from controller.simulation.faults import PlannedFault, Trouble, next_change_s, trouble_at
from controller.simulation.garage import Garage
from controller.simulation.onewire import OneWireBus, SimulatedProbe
from controller.simulation.pins import SimulatedPins
from controller.simulation.plant import GarageSettings

# Why: relays move at ticks of 5 or 10 s, so nothing is gained by longer steps of the physics.
_STEP_S = 10.0
# Why: a person who stops a paced simulation, and a broker that calls, wait no longer than this.
_WAIT_S_MAX = 0.25
_OTHER = {"beer_probe_c": "pad_probe_c", "pad_probe_c": "beer_probe_c"}
_NEARLY_S = 1e-6  # Why: sums of step lengths are not exact.


@dataclass(frozen=True, slots=True)
class Scene:
    """What a simulation starts with.

    Args:
        garage: vessel, jacket, pad, fan, weather and batch.
        probes: the probes on the bus.
        relays: the GPIO number of each relay's line.
        active_high: whether a high line energises a relay.
        seed: makes weather, noise and made-up ROM ids; the same seed gives the same world.
        start_utc_s: true time at the start, seconds since 1970.
        start_mono_s: the monotonic clock at the start.
        faults: what goes wrong, and when.
    """

    garage: GarageSettings = field(default_factory=GarageSettings)
    probes: tuple[SimulatedProbe, ...] = (SimulatedProbe(Role.BEER), SimulatedProbe(Role.GARAGE))
    relays: Mapping[Relay, int] = field(default_factory=lambda: {Relay.HEAT: 17, Relay.FAN: 27})
    active_high: bool = True
    seed: int = 1
    start_utc_s: float = 1_768_435_200.0
    start_mono_s: float = 1_000.0
    faults: tuple[PlannedFault, ...] = ()


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast simulated time passes against real time.

    Args:
        simulated_s_per_s: simulated seconds in a real one, above 0.
        wait: really waits so many seconds.
        from_mono_s: simulated instant before which nothing waits.
        on_wait: called before each real wait of at most a quarter of a second.
    """

    simulated_s_per_s: float
    wait: Callable[[float], None]
    from_mono_s: float = 0.0
    on_wait: Callable[[], None] | None = None


class World:
    """A simulated chamber and its clock. Use as a context manager, or call `close`.

    `garage` holds the truth, `pins` is the factory for gpiozero, `bus.folder` the folder for the
    probe reader.
    """

    def __init__(self, scene: Scene, pace: Pace | None = None) -> None:
        self.scene = scene
        self.garage = Garage(scene.garage, scene.seed, scene.start_utc_s)
        self.pins = SimulatedPins(scene.relays, scene.active_high)
        self.bus = OneWireBus(scene.probes, scene.seed)
        self._pace = pace
        self._elapsed_s = 0.0
        self._trouble = Trouble()
        self._next_change_s = -inf
        self._felt = [(probe.role, f"{probe.role.value}_probe_c") for probe in scene.probes]
        self._show()

    def __enter__(self) -> World:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Remove the probe folder and release the pins. May be called twice."""
        self.bus.close()
        self.pins.close()

    @property
    def heat_on(self) -> bool:
        """Whether the pad's relay is truly closed."""
        return self.pins.is_energised(Relay.HEAT)

    @property
    def fan_on(self) -> bool:
        """Whether the fan's relay is truly closed."""
        return self.pins.is_energised(Relay.FAN)

    def now(self) -> Moment:
        """What the controller's clocks show: the wall clock may be wrong, the other never is."""
        trouble, scene = self._trouble, self.scene
        return Moment(
            mono_s=scene.start_mono_s + self._elapsed_s,
            utc_s=scene.start_utc_s + self._elapsed_s + trouble.clock_step_s,
            synced=trouble.clock_synced,
        )

    def sleep_until(self, mono_s: float) -> None:
        """Let everything happen up to this instant; an instant already past does nothing."""
        until_s = mono_s - self.scene.start_mono_s
        pace = self._pace
        while self._elapsed_s < until_s - _NEARLY_S:
            part_s = min(_STEP_S, until_s - self._elapsed_s)
            if pace is None or self.scene.start_mono_s + self._elapsed_s < pace.from_mono_s:
                self._pass(part_s)
                continue
            part_s = min(part_s, _WAIT_S_MAX * pace.simulated_s_per_s)
            if pace.on_wait is not None:
                pace.on_wait()
            pace.wait(part_s / pace.simulated_s_per_s)
            self._pass(part_s)
        self._show()

    def _pass(self, dt_s: float) -> None:
        """Let the physics run for `dt_s` seconds with the relays as they are."""
        self._elapsed_s += dt_s
        utc_s = self.scene.start_utc_s + self._elapsed_s
        self.garage.step(dt_s, self.heat_on, self.fan_on, utc_s)
        if self._elapsed_s >= self._next_change_s:
            self._strike()

    def _show(self) -> None:
        """Let every probe convert once."""
        if self._elapsed_s >= self._next_change_s:
            self._strike()
        garage, feel = self.garage, self.bus.feel
        place = _OTHER if self._trouble.exchanged else {}
        for role, feels in self._felt:
            feel(role, getattr(garage, place.get(feels, feels)))

    def _strike(self) -> None:
        """Put in force what is wrong now, and put right what no longer is."""
        scene = self.scene
        trouble = trouble_at(scene.faults, self._elapsed_s)
        self._next_change_s = next_change_s(scene.faults, self._elapsed_s)
        self._trouble = trouble
        self.garage.disturb(trouble.plant)
        for relay in Relay:
            self.pins.set_fault(relay, trouble.pins.get(relay))
        for role in Role:
            self.bus.set_fault(role, trouble.bus.get(role))
            self.bus.set_error(role, trouble.drift_k.get(role, 0.0), trouble.forced_c.get(role))
