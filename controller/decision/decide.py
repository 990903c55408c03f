"""Decide: the controller's table of contents. Eight stages of one shape, and nothing else.

    plausibility -> effect -> interlocks -> profile -> regulator -> proportioning -> interlocks ->
    alarms

It is pure: no clock, no file, no socket, no random number. The same plan, state, readings and
moment always give the same state and decision, so any minute of any night can be replayed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from controller.decision import (
    alarms,
    effect,
    interlocks,
    plausibility,
    profile,
    proportioning,
    regulator,
)
from controller.decision.interlock_rules import Circumstances, InterlockMemory, InterlockSettings
from controller.decision.vocabulary import Applied, Decision, Moment, Reading


@dataclass(frozen=True, slots=True)
class Plan:
    """What the settings say, for each stage. It does not change while the controller runs."""

    regulator: regulator.RegulatorPlan
    interlocks: InterlockSettings = field(default_factory=InterlockSettings)
    proportioning: proportioning.ProportioningSettings = field(
        default_factory=proportioning.ProportioningSettings
    )
    alarms: alarms.AlarmSettings = field(default_factory=alarms.AlarmSettings)
    profile: profile.Profile | None = None


@dataclass(frozen=True, slots=True)
class State:
    """What is remembered from tick to tick: each stage's memory, and what was really done last.

    `gravity_sg` is the newest gravity known, for steps that end at one.
    """

    plausibility: plausibility.PlausibilityMemory = plausibility.PlausibilityMemory()
    effect: effect.EffectMemory = effect.EffectMemory()
    profile: profile.ProfileMemory = profile.ProfileMemory()
    interlocks: InterlockMemory = InterlockMemory()
    regulator: regulator.RegulatorMemory = regulator.RegulatorMemory()
    proportioning: proportioning.ProportioningMemory = proportioning.ProportioningMemory()
    alarms: alarms.AlarmMemory = alarms.AlarmMemory()
    applied: Applied = Applied()
    gravity_sg: float | None = None


def decide(
    plan: Plan, state: State, readings: Sequence[Reading], now: Moment
) -> tuple[State, Decision]:
    """What to do now.

    Args:
        plan: the settings.
        state: what the last tick left, with `applied` set to what the relays really did.
        readings: what each fitted probe said in this tick.
        now: this tick's clocks; `now.mono_s` must not be before the last tick's.

    Returns:
        the state for the next tick, and the decision to act on, write down and tell.
    """
    sensed, evidence = plausibility.sense(state.plausibility, readings, now)
    watched, findings = effect.watch(
        plan.regulator.vessel, state.effect, evidence, state.applied, now
    )
    followed, target, steps = profile.follow(plan.profile, state.profile, state.gravity_sg, now)
    around = Circumstances(plan.interlocks, state.interlocks, evidence, findings, target, now)
    locked, permits, trips = interlocks.permits(around, state.applied)
    regulated, demand = regulator.regulate(
        plan.regulator, state.regulator, evidence, target, permits, now
    )
    dosed, wanted = proportioning.proportion(
        plan.proportioning, state.proportioning, demand.share, state.applied, now
    )
    locked, command = interlocks.grant(locked, permits, wanted, state.applied, now)
    strain = alarms.Strain(regulated.phase, demand.hold_duty, demand.is_late, locked.trips)
    judged, standing, news = alarms.judge(
        state.alarms,
        alarms.Situation(plan.alarms, evidence, state.applied, target, strain, now),
    )
    memories = (sensed, watched, followed, locked, regulated, dosed, judged)
    decision = Decision(
        command,
        evidence,
        permits,
        regulated.phase,
        demand.share,
        target,
        demand.setpoint_c,
        locked.trips,
        standing,
        (*steps, *trips, *news),
    )
    return State(*memories, state.applied, state.gravity_sg), decision
