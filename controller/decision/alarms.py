"""Alarms: which state each alarm is in, and what a person is told of it. (Eighth stage.)

The states are those of ISA-18.2. A condition counts after its on-delay and is over after its
off-delay, and both are dated by when that began. A person acknowledges; a shelved alarm is quiet
until its time is up; one below a root cause, or one to be expected, is suppressed by design. In a
flood the single alarms are told as low and one summary as high. Out of service is not used: an
alarm nobody wants belongs out of the table. Whatever its state, an alarm stops nothing.
"""

from __future__ import annotations

from dataclasses import replace

from controller.decision.alarm_memory import (
    AlarmMemory,
    AlarmNow,
    Level,
    settled,
    told_of,
)
from controller.decision.alarm_rules import (
    FLOOD_BEGINS_ABOVE,
    FLOOD_S,
    RULES,
    AlarmRule,
    Situation,
)
from controller.decision.vocabulary import Priority, Target, Transition

# Source: ISA-18.2's usual factor (from memory): suppressed until the predicted arrival times 1.5.
ARRIVAL_FACTOR = 1.5
TRANSITION_S_MAX = 172_800.0  # Why: a vessel that takes longer than two days is not on its way.
TARGET_MOVED_K = 0.5  # Why: a ramp moves by less from one tick to the next, a step by more.
_FLOOD = "alarm-flood"
_RAISES_KEPT_MAX = 2 * FLOOD_BEGINS_ABOVE  # Why: enough to see a flood begin and end.


def judge(
    memory: AlarmMemory, situation: Situation
) -> tuple[AlarmMemory, tuple[str, ...], tuple[Transition, ...]]:
    """The codes of the alarms that stand now, shelved ones left out, and what has changed."""
    now_s = situation.now.mono_s
    memory = _aimed(memory, situation)
    lately = tuple(at_s for at_s in memory.raised_mono_s if now_s - at_s < FLOOD_S)
    situation = replace(
        situation,
        is_in_transition=now_s < memory.expected_until_mono_s,
        raised_lately=len(lately),
    )
    roots: list[str] = []
    standing: list[str] = []
    alarms: list[AlarmNow] = []
    told: list[Transition] = []
    for rule, was in zip(RULES, memory.alarms, strict=True):
        cause = next((code for code in rule.below if code in roots), None) if roots else None
        moved, news = _moved(rule, was, cause, situation)
        if was.shelved_until_mono_s is not None:
            moved, news = _woken(rule, moved, situation)  # Why: while it is quiet, nothing is told.
        alarms.append(moved)
        told += news
        if moved.level is Level.UP:
            roots.append(rule.code)
            if moved.shelved_until_mono_s is None:
                standing.append(rule.code)
    memory = _counted(replace(memory, alarms=tuple(alarms)), lately, told, now_s)
    return memory, tuple(standing), tuple(_calmed(each, _FLOOD in roots) for each in told)


def _aimed(memory: AlarmMemory, situation: Situation) -> AlarmMemory:
    """Begins a transition when the target has moved, and ends it when the beer has arrived."""
    target, before_c = situation.target, memory.aim_c
    if target is None:
        return replace(memory, aim_c=None, expected_until_mono_s=float("-inf"))
    if situation.evidence.beer.value_c is None:
        return memory  # Why: from where it has to come is not known yet.
    aim_c = (target.low_c, target.high_c)
    if aim_c != before_c:
        memory = replace(memory, aim_c=aim_c)
    if before_c is None or _apart_k(before_c, target) >= TARGET_MOVED_K:
        arrival_s = situation.strain.arrival_s
        wait_s = 0.0 if arrival_s is None else min(ARRIVAL_FACTOR * arrival_s, TRANSITION_S_MAX)
        return replace(memory, expected_until_mono_s=situation.now.mono_s + wait_s)
    is_there = abs(situation.above_k) <= situation.settings.drift_k
    if is_there and memory.expected_until_mono_s != float("-inf"):
        return replace(memory, expected_until_mono_s=float("-inf"))
    return memory


def _apart_k(before_c: tuple[float, float], target: Target) -> float:
    return max(abs(before_c[0] - target.low_c), abs(before_c[1] - target.high_c))


def _moved(
    rule: AlarmRule, was: AlarmNow, cause: str | None, situation: Situation
) -> tuple[AlarmNow, tuple[Transition, ...]]:
    """One alarm's condition looked at: its level after the delays, and what to tell of it."""
    holds = rule.holds(situation, was.level is not Level.DOWN)
    is_quiet = holds and (cause is not None or rule.is_expected(situation))
    wanted = Level.QUIET if is_quiet else Level.UP if holds else Level.DOWN
    if wanted is was.level:
        return was if was.turning_mono_s is None else replace(was, turning_mono_s=None), ()
    now_s, since_s = situation.now.mono_s, was.turning_mono_s
    # Why: what was quiet and may speak again waits its whole delay, whatever it did before.
    if since_s is None or (was.level is Level.QUIET and wanted is not was.turning_to):
        since_s = now_s
    delay_s = rule.on_delay_s if holds else rule.off_delay_s
    if was.level is Level.UP and wanted is Level.QUIET:
        delay_s = 0.0
    if now_s - since_s < delay_s:
        return replace(was, turning_mono_s=since_s, turning_to=wanted), ()
    needs_ack = wanted is Level.UP or (wanted is Level.DOWN and was.needs_ack)
    moved = replace(was, level=wanted, needs_ack=needs_ack, turning_mono_s=None)
    if wanted is Level.UP:
        return moved, (told_of(rule, "raised", since_s, rule.text(situation), rule.remedy),)
    if wanted is Level.DOWN and was.level is Level.QUIET:
        return moved, (told_of(rule, "ended", since_s, "It need not be kept quiet any more."),)
    if wanted is Level.DOWN:
        return moved, (told_of(rule, "cleared", since_s, "No longer so."),)
    why = f"while {cause} stands" if cause else "until the beer should have arrived"
    return moved, (told_of(rule, "suppressed", since_s, f"Quiet {why}."),)


def _woken(
    rule: AlarmRule, was: AlarmNow, situation: Situation
) -> tuple[AlarmNow, tuple[Transition, ...]]:
    """A shelved alarm whose time is up speaks again, and is raised anew if it still stands."""
    until_s = was.shelved_until_mono_s
    assert until_s is not None
    if situation.now.mono_s < until_s:
        return was, ()
    told = [told_of(rule, "unshelved", until_s, "No longer kept quiet.")]
    is_up = was.level is Level.UP
    if is_up:
        told.append(told_of(rule, "raised", until_s, rule.text(situation), rule.remedy))
    return replace(was, shelved_until_mono_s=None, needs_ack=is_up), tuple(told)


def _counted(
    memory: AlarmMemory, lately: tuple[float, ...], told: list[Transition], now_s: float
) -> AlarmMemory:
    """Counts what was raised, and notes what came first."""
    raised = [each for each in told if each.state == "raised" and each.code != _FLOOD]
    first = min(raised, key=lambda each: each.since_mono_s, default=None)
    if memory.first_out is None and first is not None:
        memory = replace(memory, first_out=first.code)
    times = (*lately, *(now_s for _ in raised))[-_RAISES_KEPT_MAX:]
    if times != memory.raised_mono_s:
        memory = replace(memory, raised_mono_s=times)
    return settled(memory)


def _calmed(told: Transition, is_flood: bool) -> Transition:
    """In a flood a single alarm is told as low: the summary speaks for all."""
    if is_flood and told.state == "raised" and told.code != _FLOOD:
        return replace(told, priority=Priority.LOW)
    return told
