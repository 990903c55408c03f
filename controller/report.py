"""Report: a decision in the published language. The only translation between the two.

It decides nothing and sends nothing: it makes the lines of one tick, transitions first, so that a
reader who has the tick already has what it announces.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from controller import __version__
from controller.decision.alarm_memory import shelved_left_s
from controller.decision.decide import State
from controller.decision.vocabulary import Decision, Evidence, Moment, Role, Sensed, Transition
from controller.edge.calibration import Calibration
from controller.settings import Settings
from controller.vessel_memory import known
from controller.wire import Event, EventState, Line, Presence, PresenceState, Tick


@dataclass(frozen=True, slots=True)
class Speaker:
    """Who speaks: one start of one chamber's controller.

    Args:
        chamber: the chamber's name.
        boot: the name of this start.
        batch: the batch the settings name; None when there is none.
        tick_s: how often it speaks.
        calibrations: how each probe is corrected, by role.
        vessel: what the settings say of the vessel, in a few words.
    """

    chamber: str
    boot: str
    batch: str | None
    tick_s: float
    calibrations: Mapping[str, Calibration]
    vessel: str | None = None


def speaker_of(settings: Settings, boot: str) -> Speaker:
    """Who speaks for these settings in this boot."""
    probes = settings.probes
    calibrations = {role.value: probes.calibration(role) for role in probes.fitted()}
    batch = settings.batch.name if settings.batch else None
    vessel = settings.vessel.in_words()
    return Speaker(
        settings.chamber.name, boot, batch, settings.chamber.tick_s, calibrations, vessel
    )


def presence(speaker: Speaker, state: PresenceState, now: Moment) -> Presence:
    """That the controller is there, stopped, or (as its last will) lost."""
    return Presence(
        speaker.chamber, speaker.boot, state.value, now.utc_s, __version__, speaker.tick_s
    )


def lines(
    speaker: Speaker, state: State, decision: Decision, now: Moment, first_seq: int
) -> tuple[Line, ...]:
    """The lines of one tick: what changed, then the tick itself.

    Args:
        speaker: who speaks.
        state: what the tick left, with `applied` as the relays really are.
        decision: what it decided.
        now: its moment.
        first_seq: the number of its first line.
    """
    if state.begun is not None:
        speaker = replace(speaker, batch=state.begun.batch)
    news = events(speaker, decision.transitions, decision, now, first_seq)
    return (*news, _tick(speaker, state, decision, now, first_seq + len(news)))


def events(
    speaker: Speaker,
    transitions: Sequence[Transition],
    decision: Decision | None,
    now: Moment,
    first_seq: int,
) -> tuple[Event, ...]:
    """Transitions as events, each dated by when it became true."""
    step = decision.target.step if decision and decision.target else None
    return tuple(
        Event(
            speaker.chamber,
            speaker.boot,
            first_seq + place,
            now.utc_s - (now.mono_s - each.since_mono_s),
            each.since_mono_s,
            now.synced,
            each.code,
            EventState(each.state).value,
            each.text,
            each.remedy,
            each.priority.value if each.priority else None,
            speaker.batch,
            step,
            each.order,
        )
        for place, each in enumerate(transitions)
    )


def _tick(speaker: Speaker, state: State, decision: Decision, now: Moment, seq: int) -> Tick:
    evidence, target, applied = decision.evidence, decision.target, state.applied
    hold = state.profile.hold
    is_band = target is not None and target.low_c < target.high_c
    return Tick(
        chamber=speaker.chamber,
        boot=speaker.boot,
        seq=seq,
        utc_s=now.utc_s,
        mono_s=now.mono_s,
        synced=now.synced,
        phase=decision.phase,
        demand=decision.demand,
        heat=applied.heat,
        fan=applied.fan,
        beer_c=evidence.beer.value_c,
        garage_c=evidence.garage.value_c,
        air_c=evidence.air.value_c,
        pad_c=evidence.pad.value_c,
        faults={role.value: word for role in Role if (word := _fault(evidence.of(role)))},
        offset_k=_offsets(speaker, evidence),
        target_c=target.low_c if target else None,
        target_high_c=target.high_c if target and is_band else None,
        batch=speaker.batch,
        step=target.step if target else None,
        step_name=target.step_name if target else None,
        step_elapsed_s=target.step_elapsed_s if target else None,
        heat_permit=decision.permits.heat.name.lower(),
        fan_permit=decision.permits.fan.name.lower(),
        vetoes=decision.permits.vetoes,
        trips=decision.trips,
        alarms=decision.alarms,
        heat_starts=applied.heat_starts,
        fan_starts=applied.fan_starts,
        integral=state.regulator.integral,
        alarm_states=state.alarms.states,
        first_out=state.alarms.first_out,
        shelved_left_s=shelved_left_s(state.alarms, now),
        hold_c=hold.target_c if hold else None,
        hold_left_s=hold.left_s if hold else None,
        begun_by=state.begun.id if state.begun else None,
        gravity_sg=state.gravity_sg,
        vessel=speaker.vessel,
        **known(decision),
    )


def _offsets(speaker: Speaker, evidence: Evidence) -> dict[str, float]:
    """What was added to each probe's reading, to a hundredth: with two points it varies slowly."""
    return {
        role: round(calibration.added_k(evidence.of(Role(role)).value_c), 2)
        for role, calibration in speaker.calibrations.items()
    }


def _fault(sensed: Sensed) -> str | None:
    return sensed.fault.value if sensed.fault else None
