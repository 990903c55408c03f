"""Proportioning: a demand between -1 and +1 becomes on and off. (Sixth stage.)

Each relay has an account of seconds it owes: demand adds to it, running pays it off. It switches on
when half a swing is owed and off when half a swing is overpaid, so that on average the demand is
met exactly, whatever was forbidden or held meanwhile. The swing is what one cycle of the demand
moves the account by, or more where the beer would not notice. It forbids nothing; the interlocks
may still hold or refuse what it wants.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.bounded import setting
from controller.decision.vocabulary import Applied, Moment, Wanted

DT_S_MAX = 60.0  # Why: over a longer gap nobody knows what was run.
# Why: one step and a bit of a DS18B20; a ripple this small costs nothing and spares the relay.
RIPPLE_K = 0.08
# Why: twice the relays' shortest run and rest, so that noise in the demand does not meet those.
HEAT_SWING_S_MIN = 60.0
REST_SHARE = 0.02  # Why: an hour in full earns one rest, and a minute of it next to nothing.
FAN_SWING_S_MIN = 120.0


@dataclass(frozen=True, slots=True)
class ProportioningSettings:
    """How finely heat and fan are dosed."""

    cycle_s: float = setting(
        "the shortest full cycle of on and off",
        unit="s",
        default=660.0,
        low=240.0,
        high=1800.0,
    )


@dataclass(frozen=True, slots=True)
class ProportioningMemory:
    """The seconds each relay owes (above 0) or has overpaid (below 0)."""

    heat_owed_s: float = 0.0
    fan_owed_s: float = 0.0
    last_mono_s: float | None = None


def proportion(
    settings: ProportioningSettings,
    memory: ProportioningMemory,
    demand: float,
    rise_k_per_s: float,
    applied: Applied,
    now: Moment,
) -> tuple[ProportioningMemory, Wanted]:
    """What to switch on, given what the relays really did since the last tick.

    Args:
        settings: how finely.
        memory: what is owed.
        demand: -1 (fan all the time) to +1 (pad all the time).
        rise_k_per_s: how fast the pad alone warms the beer, above 0.
        applied: what the relays really did.
        now: this tick.
    """
    dt_s = 0.0 if memory.last_mono_s is None else now.mono_s - memory.last_mono_s
    if not 0.0 < dt_s <= DT_S_MAX:
        dt_s = 0.0
    heat, fan = max(demand, 0.0), max(-demand, 0.0)
    # Why: on and off of d parts of a cycle of c seconds swing the account by c d (1 - d).
    unseen_s = min(settings.cycle_s / 4.0, RIPPLE_K / rise_k_per_s)
    part = heat if heat < 1.0 else 0.5
    heat_swing_s = max(settings.cycle_s * part * (1.0 - part), unseen_s, HEAT_SWING_S_MIN)
    fan_swing_s = max(settings.cycle_s / 4.0, FAN_SWING_S_MIN)
    heat_owed_s = _owed(memory.heat_owed_s, heat, applied.heat, dt_s, heat_swing_s)
    fan_owed_s = _owed(memory.fan_owed_s, fan, applied.fan, dt_s, fan_swing_s)
    wanted = Wanted(
        heat=_wants(heat_owed_s, heat, applied.heat, heat_swing_s),
        fan=_wants(fan_owed_s, fan, applied.fan, fan_swing_s),
    )
    return ProportioningMemory(heat_owed_s, fan_owed_s, now.mono_s), wanted


def _owed(owed_s: float, duty: float, is_on: bool, dt_s: float, swing_s: float) -> float:
    if duty >= 1.0 and is_on:
        # Why: after a long run in full it rests first; a last pulse on top would only overshoot.
        return max(owed_s - REST_SHARE * dt_s, -swing_s / 2.0)
    owed_s += (duty - float(is_on)) * dt_s
    # Why: what could not be run for long must not all be run afterwards.
    return min(max(owed_s, -swing_s), swing_s)


def _wants(owed_s: float, duty: float, is_on: bool, swing_s: float) -> bool:
    if duty >= 1.0:
        return True
    if duty <= 0.0:
        return False
    if is_on:
        return owed_s > -swing_s / 2.0
    return owed_s >= swing_s / 2.0
