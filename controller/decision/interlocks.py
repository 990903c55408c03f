"""Interlocks: what is allowed, and the one command that follows. (Stages four and seven.)

`permits` says what the rules allow before anything is wanted; `grant` makes the only command the
relay driver accepts. A rule that latches becomes a trip: its veto removes the evidence that caused
it, so it stays until a person releases it (but see `probe_return`). Off is where everything falls.
"""

from __future__ import annotations

from dataclasses import replace

from controller.decision import probe_return
from controller.decision.interlock_rules import RULES, Circumstances, InterlockMemory, Rule
from controller.decision.vocabulary import (
    Applied,
    Command,
    Moment,
    Permit,
    Permits,
    Priority,
    Relay,
    Transition,
    Wanted,
)

FAN_GATE_OPEN_K = 1.0  # Why: in a garage as warm as the beer a fan heats it.
FAN_GATE_CLOSE_K = 0.4  # Why: wider than one step of the probe, so the gate does not flutter.


def permits(
    circumstances: Circumstances, applied: Applied
) -> tuple[InterlockMemory, Permits, tuple[Transition, ...]]:
    """What is allowed now, given what the relays really did last.

    Returns:
        the memory with new trips in it, the permits, and a transition for every new trip.
    """
    memory = _looked(circumstances, applied)
    circumstances = Circumstances(
        circumstances.settings,
        memory,
        circumstances.evidence,
        circumstances.findings,
        circumstances.target,
        circumstances.now,
    )
    heat = fan = Permit.FREE
    vetoes: list[str] = []
    trips = memory.trips
    transitions: list[Transition] = []
    for rule in RULES:
        is_latched = rule.code in trips
        if not is_latched and not rule.applies(circumstances):
            continue
        vetoes.append(rule.code)
        if Relay.HEAT in rule.relays:
            heat = max(heat, rule.permit)
        if Relay.FAN in rule.relays:
            fan = max(fan, rule.permit)
        if rule.latches and not is_latched:
            trips = (*trips, rule.code)
            transitions.append(_tripped(rule, circumstances.now))
    memory = replace(memory, trips=trips, last_mono_s=circumstances.now.mono_s)
    memory, news = _let_go(memory, circumstances, circumstances.memory.trips)
    return memory, Permits(heat, fan, tuple(vetoes)), (*transitions, *news)


def grant(
    memory: InterlockMemory, allowed: Permits, wanted: Wanted, applied: Applied, now: Moment
) -> tuple[InterlockMemory, Command]:
    """The one command for this tick: what is wanted, as far as it is allowed, never both."""
    heat = _granted(allowed.heat, wanted.heat, applied.heat)
    fan = _granted(allowed.fan, wanted.fan, applied.fan)
    # Why: whichever runs now is let out first; the other may follow in a later tick.
    heat, fan = heat and not applied.fan, fan and not applied.heat
    fan = fan and not heat
    if heat == applied.heat and fan == applied.fan:
        return memory, Command(heat=heat, fan=fan)
    memory = replace(
        memory,
        heat_changed_s=now.mono_s if heat != applied.heat else memory.heat_changed_s,
        fan_changed_s=now.mono_s if fan != applied.fan else memory.fan_changed_s,
    )
    return memory, Command(heat=heat, fan=fan)


def released(memory: InterlockMemory, code: str) -> InterlockMemory:
    """The memory without this trip."""
    return replace(memory, trips=tuple(each for each in memory.trips if each != code))


def _let_go(
    memory: InterlockMemory, c: Circumstances, trips_before: tuple[str, ...]
) -> tuple[InterlockMemory, tuple[Transition, ...]]:
    """Ends the trip of a probe that was put back; heat is allowed again from the next tick on."""
    code = probe_return.CODE
    if code not in memory.trips:
        return memory if memory.fallen is None else replace(memory, fallen=None), ()
    if code not in trips_before:
        return replace(memory, fallen=probe_return.fallen(c.evidence, c.now)), ()
    if memory.fallen is None:
        return memory, ()
    seen, is_back = probe_return.looked_for(memory.fallen, c.evidence, c.now)
    memory = replace(memory, fallen=seen)
    if not is_back:
        return memory, ()
    told = Transition(code, "released", c.now.mono_s, "The probe reads the beer again.")
    return replace(released(memory, code), fallen=None), (told,)


def _granted(permit: Permit, wanted: bool, is_on: bool) -> bool:
    if permit is Permit.FREE:
        return wanted
    return permit is Permit.HOLD and is_on


def _looked(c: Circumstances, applied: Applied) -> InterlockMemory:
    """The memory brought up to this tick, before any rule looks at it."""
    memory = c.memory
    return InterlockMemory(
        trips=memory.trips,
        fan_gate_is_open=_gate(c),
        mismatches=0 if applied.agrees else memory.mismatches + 1,
        heat_changed_s=memory.heat_changed_s,
        fan_changed_s=memory.fan_changed_s,
        heat_ran_s=c.now.mono_s if applied.heat else memory.heat_ran_s,
        fan_ran_s=c.now.mono_s if applied.fan else memory.fan_ran_s,
        last_mono_s=memory.last_mono_s,
        fallen=memory.fallen,
    )


def _gate(c: Circumstances) -> bool:
    beer_c, garage_c = c.evidence.beer.value_c, c.evidence.garage.value_c
    if beer_c is None or garage_c is None:
        return False
    needed_k = FAN_GATE_CLOSE_K if c.memory.fan_gate_is_open else FAN_GATE_OPEN_K
    return beer_c - garage_c > needed_k


def _tripped(rule: Rule, now: Moment) -> Transition:
    return Transition(rule.code, "tripped", now.mono_s, rule.text, rule.remedy, Priority.HIGH)
