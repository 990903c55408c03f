"""Ticks for the watches: readings and relays as a list says, ten seconds apart."""

from __future__ import annotations

from collections.abc import Callable

from controller.decision.effect import EffectMemory, watch
from controller.decision.vocabulary import Applied, Evidence, Finding, Moment, Sensed
from controller.thermal.model import VesselSettings, vessel_of

VESSEL = vessel_of(VesselSettings(20.0, 60.0))
TICK_S = 10.0
K_PER_H = 1.0 / 3600.0

At = Callable[[float], float | None]


def sensed(value_c: float | None, slope: float | None, change_k: float = 0.0) -> Sensed:
    return Sensed(value_c, 0.0, slope, change_k, None, True)


class Watched:
    """A chamber watched for a while. Each thing is a function of the seconds since the start."""

    def __init__(self) -> None:
        self.memory = EffectMemory()
        self.now_s = 0.0
        self.found: list[tuple[float, Finding]] = []

    def run(
        self,
        seconds: float,
        beer_c: At = lambda _: 35.0,
        slope: At = lambda _: 0.0,
        heat: Callable[[float], bool] = lambda _: False,
        garage_c: At = lambda _: 5.0,
        pad_c: At = lambda _: None,
        fan: Callable[[float], bool] = lambda _: False,
        change_k: Callable[[float], float] = lambda _: 0.0,
    ) -> Watched:
        begun_s = self.now_s
        while self.now_s < begun_s + seconds:
            self.now_s += TICK_S
            at_s = self.now_s - begun_s
            evidence = Evidence(
                beer=sensed(beer_c(at_s), slope(at_s), change_k(at_s)),
                garage=sensed(garage_c(at_s), None),
                pad=sensed(pad_c(at_s), None),
            )
            applied = Applied(heat=heat(at_s), fan=fan(at_s))
            now = Moment(self.now_s, 0.0)
            self.memory, found = watch(VESSEL, self.memory, evidence, applied, now)
            self.found += [(at_s, each) for each in found]
        return self

    def first_s(self, finding: Finding) -> float | None:
        """When it was first found, in s since the last `run` began; None when never."""
        return next((at_s for at_s, each in self.found if each is finding), None)

    def kinds(self) -> set[Finding]:
        return {each for _, each in self.found}
