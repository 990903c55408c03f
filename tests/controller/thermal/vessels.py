"""A vessel to learn from: more lags than the learner's model, a relay of its own, no controller.

Beer, a pad that presses on it, a jacket and two lags of the probe; the reading has the steps of a
DS18B20. The relay doses by a proportional rule in cycles, so the tests of learning depend on no
regulator.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field

from controller.thermal.learn import LearnMemory, Seen, learn
from controller.thermal.learned import Course
from controller.thermal.model import VesselSettings, vessel_of

TICK_S = 10.0
HOUR_S = 3600.0


def winter(mean_c: float = 3.0, swing_k: float = 4.0) -> Callable[[float], float]:
    return lambda s: mean_c + swing_k * math.cos(2.0 * math.pi * s / 86_400.0)


def no_ferment(_: float) -> float:
    return 0.0


def batch(volume_l: float, middle_h: float = 24.0, pace_per_h: float = 0.18) -> Callable:  # type: ignore[type-arg]
    """A logistic course of 47 kJ per litre (a 12.5 °P wort, two thirds of it fermented)."""
    total_j = 47_000.0 * volume_l

    def heat_w(s: float) -> float:
        grown = math.exp(-pace_per_h * (s / HOUR_S - middle_h))
        return total_j * pace_per_h / HOUR_S * grown / (1.0 + grown) ** 2

    return heat_w


@dataclass
class Vessel:
    """True watts and kelvins; `said` is what the settings say."""

    said: VesselSettings = field(default_factory=lambda: VesselSettings(20.0, 60.0))
    loss_w_per_k: float = 0.85
    pad_w: float = 60.0
    target_c: float = 35.0
    start_c: float = 30.0
    garage_c: Callable[[float], float] = field(default_factory=winter)
    ferment_w: Callable[[float], float] = no_ferment
    has_garage: bool = True
    seed: int = 1
    loss_factor: float = 1.0
    fan: bool = False
    beer_lost: bool = False
    garage_lost: bool = False
    memory: LearnMemory = field(default_factory=LearnMemory)
    mono_s: float = 0.0

    def __post_init__(self) -> None:
        self.course = Course.of(vessel_of(self.said))
        self.capacity_j_per_k = 4100.0 * self.said.volume_l + 3500.0
        self.beer_c = self.jacket_c = self.pad_c = self.bead_c = self.well_c = self.start_c
        self._random = random.Random(self.seed)
        self.heat = False
        self.errors_w: list[float] = []

    def run(self, hours: float) -> Vessel:
        for _ in range(round(hours * HOUR_S / TICK_S)):
            self.turn()
        return self

    def turn(self) -> None:
        self._warm()
        self.mono_s += TICK_S
        garage_c = self._read(self.garage_c(self.mono_s))
        seen = Seen(
            self.mono_s,
            self.heat,
            self.fan,
            None if self.beer_lost else self._read(self.well_c),
            garage_c if self.has_garage and not self.garage_lost else None,
            self.has_garage,
        )
        self.memory = learn(self.course, self.memory, seen)
        learned = self.memory.learned
        if learned is not None and learned.ferment_w is not None:
            self.errors_w.append(learned.ferment_w - self.ferment_w(self.mono_s))
        duty = min(1.0, max(0.0, 0.5 + 1.5 * (self.target_c - self.well_c)))
        self.heat = (self.mono_s % 900.0) < 900.0 * duty

    def _read(self, value_c: float) -> float:
        return round((value_c + self._random.gauss(0.0, 0.02)) * 16.0) / 16.0

    def _warm(self) -> None:
        garage_c, half_s = self.garage_c(self.mono_s), TICK_S / 2.0
        wall = 2.0 * self.loss_w_per_k * self.loss_factor + (5.0 if self.fan else 0.0)
        for _ in range(2):
            into_w = 4.4 * (self.pad_c - self.beer_c)
            out_w = wall * (self.beer_c - self.jacket_c)
            self.pad_c += half_s * (self.pad_w * self.heat - into_w) / 700.0
            self.jacket_c += half_s * (out_w - wall * (self.jacket_c - garage_c)) / 900.0
            self.beer_c += (
                half_s * (into_w + self.ferment_w(self.mono_s) - out_w) / self.capacity_j_per_k
            )
            self.bead_c += half_s * (self.beer_c - self.bead_c) / 60.0
            self.well_c += half_s * (self.bead_c - self.well_c) / 90.0
