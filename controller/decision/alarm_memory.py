"""The memory of the alarms: each one's ISA-18.2 state, and what people and restarts do to it.

A person acknowledges, shelves and unshelves; a restart restores what the last tick said. Whether a
condition holds is `alarms.py`'s. It refuses to shelve what asks to act at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum, StrEnum

from controller.decision.alarm_rules import RULES, AlarmRule
from controller.decision.vocabulary import Moment, Transition


class AlarmState(StrEnum):
    """ISA-18.2's states A to F."""

    NORM = "norm"
    UNACK = "unack"
    ACKED = "acked"
    RTNUN = "rtnun"  # over, and nobody has acknowledged it
    SHLVD = "shlvd"
    DSUPR = "dsupr"


class Level(Enum):
    """What an alarm's condition amounts to, after its delays."""

    DOWN = 0
    UP = 1
    QUIET = 2  # it holds, and is suppressed by design


@dataclass(frozen=True, slots=True)
class AlarmNow:
    """What is remembered of one alarm.

    Args:
        level: what its condition amounts to.
        needs_ack: raised, and not acknowledged since.
        turning_mono_s: since when its condition has asked for another level; None: it agrees.
        turning_to: that level.
        shelved_until_mono_s: until when it is shelved; None: it is not.
    """

    level: Level = Level.DOWN
    needs_ack: bool = False
    turning_mono_s: float | None = None
    turning_to: Level = Level.DOWN
    shelved_until_mono_s: float | None = None

    @property
    def state(self) -> AlarmState:
        """Its state in ISA-18.2's words."""
        if self.shelved_until_mono_s is not None:
            return AlarmState.SHLVD
        if self.level is Level.QUIET:
            return AlarmState.DSUPR
        if self.level is Level.UP:
            return AlarmState.UNACK if self.needs_ack else AlarmState.ACKED
        return AlarmState.RTNUN if self.needs_ack else AlarmState.NORM


@dataclass(frozen=True, slots=True)
class AlarmMemory:
    """What is remembered of all of them.

    Args:
        alarms: in the order of `RULES`.
        raised_mono_s: when the last alarms were raised.
        first_out: the one that came first since all was last normal; None when all is.
        aim_c: the target's band at the last tick.
        expected_until_mono_s: until when the beer may be away from a target that has moved.
    """

    alarms: tuple[AlarmNow, ...] = (AlarmNow(),) * len(RULES)
    raised_mono_s: tuple[float, ...] = ()
    first_out: str | None = None
    aim_c: tuple[float, float] | None = None
    expected_until_mono_s: float = float("-inf")

    @property
    def states(self) -> dict[str, AlarmState]:
        """Every alarm that is not normal, by code."""
        found = {rule.code: each.state for rule, each in zip(RULES, self.alarms, strict=True)}
        return {code: state for code, state in found.items() if state is not AlarmState.NORM}


def acknowledged(
    memory: AlarmMemory, code: str | None, now: Moment
) -> tuple[AlarmMemory, tuple[Transition, ...]]:
    """The memory after a person has seen this alarm, or all of them, and what that changed."""
    alarms, told = list(memory.alarms), []
    for place, rule in enumerate(RULES):
        was = alarms[place]
        if code in (None, rule.code) and was.state in (AlarmState.UNACK, AlarmState.RTNUN):
            alarms[place] = replace(was, needs_ack=False)
            told.append(told_of(rule, "acknowledged", now.mono_s, "A person has seen it."))
    return settled(replace(memory, alarms=tuple(alarms))), tuple(told)


def shelved(
    memory: AlarmMemory, code: str, for_s: float, now: Moment
) -> tuple[AlarmMemory, tuple[Transition, ...]]:
    """The memory with this alarm kept quiet for so long. It must be one that may be shelved."""
    place, rule = _find(code)
    assert rule.may_be_shelved, code
    until_s = now.mono_s + for_s
    text = f"Kept quiet for {for_s / 3600.0:.3g} h."
    memory = _put(memory, place, replace(memory.alarms[place], shelved_until_mono_s=until_s))
    return memory, (told_of(rule, "shelved", now.mono_s, text),)


def unshelved(
    memory: AlarmMemory, code: str, now: Moment
) -> tuple[AlarmMemory, tuple[Transition, ...]]:
    """The memory with this alarm's time up; the next judgement tells it again if it stands."""
    place, _ = _find(code)
    was = memory.alarms[place]
    if was.shelved_until_mono_s is None:
        return memory, ()
    return _put(memory, place, replace(was, shelved_until_mono_s=now.mono_s)), ()


def restored(
    states: Mapping[str, str],
    shelved_left_s: Mapping[str, float],
    first_out: str | None,
    aim_c: tuple[float, float] | None,
    now: Moment,
) -> AlarmMemory:
    """The memory that an earlier life left in its last tick. What it does not know is normal."""
    alarms = []
    for rule in RULES:
        state, left_s = states.get(rule.code), shelved_left_s.get(rule.code)
        is_up = state in (AlarmState.UNACK, AlarmState.ACKED)
        is_shelved = state == AlarmState.SHLVD and rule.may_be_shelved and left_s is not None
        alarms.append(
            AlarmNow(
                Level.UP if is_up else Level.QUIET if state == AlarmState.DSUPR else Level.DOWN,
                state in (AlarmState.UNACK, AlarmState.RTNUN),
                shelved_until_mono_s=now.mono_s + (left_s or 0.0) if is_shelved else None,
            )
        )
    return AlarmMemory(tuple(alarms), first_out=first_out, aim_c=aim_c)


def shelved_left_s(memory: AlarmMemory, now: Moment) -> dict[str, float]:
    """How long each shelved alarm stays quiet."""
    return {
        rule.code: max(0.0, each.shelved_until_mono_s - now.mono_s)
        for rule, each in zip(RULES, memory.alarms, strict=True)
        if each.shelved_until_mono_s is not None
    }


def settled(memory: AlarmMemory) -> AlarmMemory:
    """Forgets what came first once nothing is left of it."""
    loud = {AlarmState.UNACK, AlarmState.ACKED, AlarmState.RTNUN}
    if memory.first_out is None or any(state in loud for state in memory.states.values()):
        return memory
    return replace(memory, first_out=None)


def _find(code: str) -> tuple[int, AlarmRule]:
    return next((place, rule) for place, rule in enumerate(RULES) if rule.code == code)


def _put(memory: AlarmMemory, place: int, alarm: AlarmNow) -> AlarmMemory:
    alarms = (*memory.alarms[:place], alarm, *memory.alarms[place + 1 :])
    return replace(memory, alarms=alarms)


def told_of(
    rule: AlarmRule, state: str, since_s: float, text: str, remedy: str | None = None
) -> Transition:
    """What is told of an alarm, dated by when it became true."""
    return Transition(rule.code, state, since_s, text, remedy, rule.priority)
