"""Profile: where the beer should be now. (Third stage.)

It walks through a fermentation procedure by elapsed time, or to the gravity at which a step ends if
that comes first. While an order holds another temperature the procedure waits: its time stands
still. It knows nothing of pads and fans, and moves a target outside its steps for a hold only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.decision.vocabulary import Moment, Target, Transition


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a fermentation procedure.

    Args:
        name: for people.
        start_c: the target when the step begins, in °C.
        end_c: the target when it ends; different from `start_c` it is a ramp over `hold_s`, or with
            `free_rise` the ceiling up to which the beer may warm itself.
        hold_s: how long the step lasts, in s; None: until `end_sg`, or for good.
        end_sg: the specific gravity at which the step ends, if that comes first; None: time only.
        free_rise: the beer may warm itself from `start_c` to `end_c`: heat only guards the floor,
            and nothing cools it below the ceiling.
    """

    name: str
    start_c: float
    end_c: float
    hold_s: float | None = None
    end_sg: float | None = None
    free_rise: bool = False


@dataclass(frozen=True, slots=True)
class Profile:
    """A fermentation procedure: at least one step, the last of which holds for good."""

    name: str
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Hold:
    """A temperature that an order holds, in °C; for `left_s` more, None: until it is resumed."""

    target_c: float
    left_s: float | None = None


@dataclass(frozen=True, slots=True)
class Begun:
    """What an order has begun in the place of the batch of the settings, or ended.

    Args:
        id: the order.
        batch: the batch's name; None: it was ended.
        profile: its procedure; None: it was ended.
        pitched_utc_s: when it was pitched, as the order says.
    """

    id: str
    batch: str | None = None
    profile: Profile | None = None
    pitched_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class ProfileMemory:
    """How far the procedure has come.

    Args:
        index: the step, from 0.
        elapsed_s: how long that step has lasted.
        has_begun: whether the beginning has been told.
        last_mono_s: when this stage last looked; None before its first look.
        hold: what an order holds meanwhile; None: nothing.
    """

    index: int = 0
    elapsed_s: float = 0.0
    has_begun: bool = False
    last_mono_s: float | None = None
    hold: Hold | None = None

    @property
    def is_held(self) -> bool:
        """Whether an order holds a temperature without an end."""
        return self.hold is not None and self.hold.left_s is None


def follow(
    profile: Profile | None, memory: ProfileMemory, gravity_sg: float | None, now: Moment
) -> tuple[ProfileMemory, Target | None, tuple[Transition, ...]]:
    """The target now.

    Args:
        profile: the procedure to follow; None when there is none.
        memory: how far it has come.
        gravity_sg: the newest gravity known, as specific gravity; None when there is none.
        now: this tick.

    Returns:
        the memory, the target (None without a procedure), and what began or changed.
    """
    dt_s = 0.0 if memory.last_mono_s is None else max(0.0, now.mono_s - memory.last_mono_s)
    memory, transitions = _held(replace(memory, last_mono_s=now.mono_s), dt_s, now)
    if memory.hold is not None:
        return memory, _hold_target(profile, memory, memory.hold), ()
    if profile is None:
        return ProfileMemory(), None, transitions
    memory = replace(
        memory,
        index=min(memory.index, len(profile.steps) - 1),  # Why: a resumed profile may be shorter.
        elapsed_s=memory.elapsed_s + (0.0 if transitions else dt_s),
    )
    if not memory.has_begun:
        memory = replace(memory, has_begun=True)
        transitions = (*transitions, _told("profile", "begun", profile, memory, now))
    while (over_s := _over_s(profile, memory, gravity_sg)) is not None:
        memory = replace(memory, index=memory.index + 1, elapsed_s=over_s)
        transitions = (*transitions, _told("step", "changed", profile, memory, now))
    return memory, _target(profile, memory), transitions


def skipped(
    profile: Profile, memory: ProfileMemory, now: Moment
) -> tuple[ProfileMemory, tuple[Transition, ...]]:
    """The memory at the beginning of the next step. There must be one."""
    assert memory.index < len(profile.steps) - 1, memory
    memory = replace(memory, index=memory.index + 1, elapsed_s=0.0)
    return memory, (_told("step", "changed", profile, memory, now),)


def _held(
    memory: ProfileMemory, dt_s: float, now: Moment
) -> tuple[ProfileMemory, tuple[Transition, ...]]:
    """Lets a hold's time pass, and ends it when that is up."""
    hold = memory.hold
    if hold is None or hold.left_s is None:
        return memory, ()
    left_s = hold.left_s - dt_s
    if left_s > 0.0:
        return replace(memory, hold=replace(hold, left_s=left_s)), ()
    text = f"The hold at {hold.target_c:.1f} °C is over; the procedure goes on."
    over = Transition("hold", "ended", now.mono_s + left_s, text)
    return replace(memory, hold=None), (over,)


def _hold_target(profile: Profile | None, memory: ProfileMemory, hold: Hold) -> Target:
    """The temperature held, in the step that waits."""
    if profile is None:
        return Target(hold.target_c, hold.target_c)
    step = profile.steps[min(memory.index, len(profile.steps) - 1)]
    return Target(hold.target_c, hold.target_c, 0.0, memory.index + 1, step.name, memory.elapsed_s)


def _over_s(profile: Profile, memory: ProfileMemory, gravity_sg: float | None) -> float | None:
    """How long ago the current step ended; None when it goes on, as the last one always does."""
    if memory.index >= len(profile.steps) - 1:
        return None
    step = profile.steps[memory.index]
    if step.hold_s is not None and memory.elapsed_s >= step.hold_s:
        return memory.elapsed_s - step.hold_s
    if step.end_sg is not None and gravity_sg is not None and gravity_sg <= step.end_sg:
        return 0.0
    return None


def _target(profile: Profile, memory: ProfileMemory) -> Target:
    step = profile.steps[memory.index]
    low_c = high_c = step.end_c
    slope = 0.0
    if step.free_rise:
        low_c, high_c = sorted((step.start_c, step.end_c))
    elif step.hold_s and memory.elapsed_s < step.hold_s:
        slope = (step.end_c - step.start_c) / step.hold_s
        low_c = high_c = step.start_c + slope * memory.elapsed_s
    return Target(low_c, high_c, slope, memory.index + 1, step.name, memory.elapsed_s)


def _told(
    code: str, state: str, profile: Profile, memory: ProfileMemory, now: Moment
) -> Transition:
    step = profile.steps[memory.index]
    where = f"step {memory.index + 1} of {len(profile.steps)}, {step.name}"
    return Transition(code, state, now.mono_s, f"{profile.name}: {where}.")
