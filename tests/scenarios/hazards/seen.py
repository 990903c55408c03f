"""What a night showed after a fault: when heat ended, what tripped, and when."""

from __future__ import annotations

from controller import wire
from tests.scenarios.garage import Night, settings

WITHOUT_PAD = settings(without=("pad =",))


def since_s(night: Night, line: wire.Line, fault_h: float) -> float:
    """How long after the fault a line is dated, in s."""
    return line.mono_s - night.ticks[0].mono_s - fault_h * 3600.0


def tripped_s(night: Night, codes: tuple[str, ...], fault_h: float) -> float:
    """How long after the fault the first of these trips came."""
    times = [
        since_s(night, event, fault_h)
        for event in night.events
        if event.state == "tripped" and event.code in codes
    ]
    assert times, night.codes("tripped")
    return min(times)


def raised_s(night: Night, code: str, fault_h: float) -> float:
    """How long after the fault an alarm was told: by its tick, not by when it became true."""
    for event, following in zip(night.lines, night.lines[1:], strict=False):
        is_it = isinstance(event, wire.Event) and event.code == code and event.state == "raised"
        if is_it and since_s(night, following, fault_h) >= 0.0:
            return since_s(night, following, fault_h)
    raise AssertionError(night.codes("raised"))


def heated_until_s(night: Night, fault_h: float) -> float:
    """How long after the fault the heat was last commanded."""
    return max((since_s(night, tick, fault_h) for tick in night.ticks if tick.heat), default=-1.0)
