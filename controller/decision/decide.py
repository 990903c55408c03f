"""Decide: the controller's table of contents. Nine stages of one shape, and nothing else.

    plausibility -> learning -> effect -> interlocks -> profile -> regulator -> proportioning ->
    interlocks -> alarms

It is pure: no clock, no file, no socket, no random number. The same plan, state, readings and
moment always give the same state and decision, so any minute of any night can be replayed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from controller.decision import (
    alarm_memory,
    alarms,
    effect,
    interlocks,
    learning,
    plausibility,
    profile,
    proportioning,
    regulator,
)
from controller.decision.alarm_rules import AlarmSettings, Situation, Strain
from controller.decision.interlock_rules import Circumstances, InterlockMemory, InterlockSettings
from controller.decision.profile import Begun
from controller.decision.vocabulary import Applied, Decision, Evidence, Moment, Reading, Target
from controller.thermal.arrival import arrival_s
from controller.thermal.learned import Course
from controller.thermal.model import Vessel
from controller.thermal.tune import tuned


@dataclass(frozen=True, slots=True)
class Plan:
    """What the settings say, for each stage. It does not change while the controller runs.

    `course` follows from the regulator's vessel: what learning it begins with.
    """

    regulator: regulator.RegulatorPlan
    interlocks: InterlockSettings = field(default_factory=InterlockSettings)
    proportioning: proportioning.ProportioningSettings = field(
        default_factory=proportioning.ProportioningSettings
    )
    alarms: AlarmSettings = field(default_factory=AlarmSettings)
    profile: profile.Profile | None = None
    course: Course = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "course", Course.of(self.regulator.vessel))


@dataclass(frozen=True, slots=True)
class State:
    """What is remembered from tick to tick: each stage's memory, and what was really done last.

    `gravity_sg` is the newest gravity known, for steps that end at one; `begun` what an order has
    begun in the place of the plan's batch; `evidence` what the last tick believed.
    """

    plausibility: plausibility.PlausibilityMemory = plausibility.PlausibilityMemory()
    learning: learning.LearningMemory = learning.LearningMemory()
    effect: effect.EffectMemory = effect.EffectMemory()
    profile: profile.ProfileMemory = profile.ProfileMemory()
    interlocks: InterlockMemory = InterlockMemory()
    regulator: regulator.RegulatorMemory = regulator.RegulatorMemory()
    proportioning: proportioning.ProportioningMemory = proportioning.ProportioningMemory()
    alarms: alarm_memory.AlarmMemory = alarm_memory.AlarmMemory()
    applied: Applied = Applied()
    gravity_sg: float | None = None
    begun: Begun | None = None
    evidence: Evidence = Evidence()


def procedure(plan: Plan, state: State) -> profile.Profile | None:
    """The procedure that is followed: what an order has begun, else the settings'."""
    return plan.profile if state.begun is None else state.begun.profile


def decide(
    plan: Plan, state: State, readings: Sequence[Reading], now: Moment
) -> tuple[State, Decision]:
    """What to do now: the state for the next tick, and the decision to act on and tell.

    Args:
        plan: the settings.
        state: what the last tick left, with `applied` set to what the relays really did.
        readings: what each fitted probe said in this tick.
        now: this tick's clocks; `now.mono_s` must not be before the last tick's.
    """
    sensed, evidence = plausibility.sense(state.plausibility, readings, now)
    learnt, known = learning.know(plan.course, state.learning, evidence, state.applied, now)
    suited = _suited(plan, known)
    watched, findings = effect.watch(known.sound, state.effect, evidence, state.applied, now)
    followed, target, steps = profile.follow(
        procedure(plan, state), state.profile, state.gravity_sg, now
    )
    around = Circumstances(plan.interlocks, state.interlocks, evidence, findings, target, now)
    locked, permits, trips = interlocks.permits(around, state.applied)
    sight = regulator.Sight(
        evidence, target, permits, state.applied, plan.interlocks.pad_c_max, now
    )
    regulated, demand = regulator.regulate(suited, state.regulator, sight)
    dosed, wanted = proportioning.proportion(
        plan.proportioning,
        state.proportioning,
        demand.share,
        suited.vessel.rise_k_per_s,
        state.applied,
        now,
    )
    locked, command = interlocks.grant(locked, permits, wanted, state.applied, now)
    reach = learning.outlook(known, evidence, target)
    arrival_s = _arrival_s(suited.vessel, evidence, target)
    strain = Strain(
        regulated.phase, reach, demand.is_late, locked.trips, arrival_s, followed.is_held
    )
    around_alarms = Situation(
        plan.alarms, evidence, state.applied, target, strain, now, findings=findings
    )
    judged, standing, news = alarms.judge(state.alarms, around_alarms)
    memories = (sensed, learnt, watched, followed, locked, regulated, dosed, judged)
    steering = (command, evidence, permits, regulated.phase, demand.share, target)
    told = (locked.trips, standing, (*steps, *trips, *news))
    decision = Decision(*steering, demand.setpoint_c, *told, known.learned, reach)
    remembered = State(*memories, state.applied, state.gravity_sg, state.begun, evidence)
    return remembered, decision


def _suited(plan: Plan, known: learning.Knowledge) -> regulator.RegulatorPlan:
    """The regulator's plan for the vessel as it is known now, tuned to it."""
    if known.learned is None:
        return plan.regulator
    tuning = tuned(known.vessel, plan.proportioning.cycle_s)
    return replace(plan.regulator, vessel=known.vessel, tuning=tuning)


def _arrival_s(vessel: Vessel, evidence: Evidence, target: Target | None) -> float | None:
    """How long the beer needs to its target; None when it never gets there, or is not known."""
    beer_c = evidence.beer.value_c
    if target is None or beer_c is None:
        return None
    garage_c = evidence.garage.value_c
    return arrival_s(vessel, beer_c, target.nearest(beer_c), garage_c)
