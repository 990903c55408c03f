"""How well a simulated chamber was held, judged by the truth and not by its probes.

Fed once per tick with the target; reads the true beer and the true relays from the world. It
stores sums only, so a year costs what a day does. It judges; it never steers.
"""

from __future__ import annotations

from math import sqrt

from controller.decision.vocabulary import Relay
from controller.simulation.world import World

_NEAR_K = 0.3  # Why: the band a brewer notices nothing in; every published comparison here uses it.
_NEW_TARGET_K = 0.5  # Why: a ramp moves a thousandth of this per tick; a step moves more.
_HELD_BUT_S = 1_800.0  # Why: half an hour in a whole batch is a lid lifted, not a pad too weak.
_SHORT_DWELL_S = 30.0  # Why: the shortest rest and run a relay is promised.


class Score:
    """The record of one run. Time before the first target, and on the way to a new one, does not
    count towards precision; `warmup_h` is the time from the first target to the first arrival.
    """

    def __init__(self, world: World) -> None:
        self._world = world
        self._last_mono_s: float | None = None
        self._target_c: float | None = None
        self._arrived = False
        self._sought_s = self._held_s = self._within_s = self._square_k2_s = 0.0
        self._counted_s = 0.0
        self._relays = dict.fromkeys(Relay, False)
        self._dwell_s = {relay: float("inf") for relay in Relay}
        self._edges = 0
        self._start_energy_j = world.garage.energy_used_j
        self.warmup_h: float | None = None
        self.overshoot_k = 0.0
        self.undershoot_k = 0.0
        self.heat_and_fan_together_s = 0.0
        self.deviation_k_h = 0.0
        self.short_dwells = 0
        self.highest_pad_c = world.garage.pad_c
        self.ticks = 0
        self.alarms = 0
        self.wall_s = 0.0

    def tick(self, target_c: float | None) -> None:
        """Count the time since the last call, which the beer spent as it is now.

        Call once per tick, after the relays were set. `target_c` None: nothing is asked for.
        """
        world = self._world
        mono_s = world.now().mono_s
        dt_s = 0.0 if self._last_mono_s is None else mono_s - self._last_mono_s
        self._last_mono_s = mono_s
        self.ticks += 1
        self._count_relays(dt_s)
        self.highest_pad_c = max(self.highest_pad_c, world.garage.pad_c)
        before_c, self._target_c = self._target_c, target_c
        if target_c is None:
            return
        if before_c is None or abs(target_c - before_c) > _NEW_TARGET_K:
            self._arrived = False
        self._count_precision(world.garage.beer_c - target_c, dt_s)

    def as_dict(self) -> dict[str, float | int | None]:
        """Every measure by its name; None for what never happened."""
        held_s = self._held_s
        energy_j = self._world.garage.energy_used_j - self._start_energy_j
        return {
            "within_03k": self._within_s / held_s if held_s else None,
            "rmse_k": sqrt(self._square_k2_s / held_s) if held_s else None,
            "overshoot_k": self.overshoot_k,
            "warmup_h": self.warmup_h,
            "edges_per_h": self._edges * 3_600.0 / self._counted_s if self._counted_s else 0.0,
            "energy_kwh": energy_j / 3.6e6,
            "heat_and_fan_together_s": self.heat_and_fan_together_s,
            "alarms": self.alarms,
            "ticks": self.ticks,
            "wall_s": self.wall_s,
        }

    def shortfall(self) -> dict[str, float | bool]:
        """For how long the target was not held, by how much, and whether that is holding it.

        Hours on the way to the first target count only when it was never reached.
        """
        not_held_s = self._held_s - self._within_s
        if self.warmup_h is None:
            not_held_s += self._sought_s
        is_held = self.warmup_h is not None and not_held_s <= _HELD_BUT_S
        return {
            "can_hold": is_held,
            "not_held_h": round(not_held_s / 3_600.0, 2),
            "lowest_below_k": round(self.undershoot_k, 2),
        }

    def _count_precision(self, error_k: float, dt_s: float) -> None:
        """Count one interval at this error."""
        self.deviation_k_h += abs(error_k) * dt_s / 3_600.0
        if not self._arrived:
            if self.warmup_h is None:
                self._sought_s += dt_s
            if abs(error_k) > _NEAR_K:
                return
            self._arrived = True
            if self.warmup_h is None:
                self.warmup_h = self._sought_s / 3_600.0
            return
        self._held_s += dt_s
        self._square_k2_s += error_k * error_k * dt_s
        self.overshoot_k = max(self.overshoot_k, error_k)
        self.undershoot_k = max(self.undershoot_k, -error_k)
        if abs(error_k) <= _NEAR_K:
            self._within_s += dt_s

    def _count_relays(self, dt_s: float) -> None:
        """Count one interval with the relays as they were in it, then see how they are now."""
        self._counted_s += dt_s
        if all(self._relays.values()):
            self.heat_and_fan_together_s += dt_s
        for relay, was_on in self._relays.items():
            self._dwell_s[relay] += dt_s
            is_on = self._world.pins.is_energised(relay)
            if is_on is not was_on:
                self._edges += 1
                self.short_dwells += self._dwell_s[relay] < _SHORT_DWELL_S
                self._dwell_s[relay] = 0.0
                self._relays[relay] = is_on
