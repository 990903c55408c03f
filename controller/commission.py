"""Commission: a walk through a new build with a person, before its first batch.

    which probe is which -> fan seen -> pad pulsed and seen -> cut-out tried by a person

It asks, switches for at most two minutes with every limit of the interlocks in force, and says what
it saw. Like the loop it makes no command of its own: what is switched is what `interlocks.grant`
gives. It keeps nothing and steers no ferment.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from controller.check import Found
from controller.decision import interlocks
from controller.decision.interlock_rules import RULE_BY_CODE, Circumstances, InterlockMemory
from controller.decision.plausibility import PlausibilityMemory, sense
from controller.decision.vocabulary import Applied, Permit, Permits, Relay, Role, Wanted
from controller.edge.clock import Clock
from controller.edge.probes import Probes
from controller.edge.relays import Relays
from controller.settings import Settings

LOOK_S = 5.0  # Why: three probes take up to 2.7 s to convert one after another.
PULSE_S_MAX = 120.0  # Why: long enough to warm a pad by several kelvin, too short to hurt beer.
FAN_S = 30.0  # Why: long enough to hear and feel it.
PROOF_S = 60.0  # Why: a probe is believed after three looks; twelve leave room for bad ones.
WARMING_S = 90.0  # Why: a DS18B20 in a steel sleeve follows a hand within a minute.
WARMED_K = 1.5  # Why: twenty-four steps of the probe, which no draught gives in 90 s.
# Source: a 60 W pad under a jacket rises by some 15 K with a lag of about three minutes, so by
# about 7 K in two minutes (own model of the garage); a third of it is plain.
PAD_ROSE_K = 2.0
BEER_ROSE_K = 1.0  # Why: two minutes of 100 W warm even 5 L by 0.6 K at most.

Temperatures = Mapping[Role, float]


@dataclass(slots=True)
class Walk:
    """What the walk needs.

    Args:
        settings: the chamber.
        clock: the time, and how it rests.
        probes: what is felt.
        relays: what is switched; off at the end whatever happens.
        ask: puts a question to the person and gives the answer.
    """

    settings: Settings
    clock: Clock
    probes: Probes
    relays: Relays
    ask: Callable[[str], str]
    sensed: PlausibilityMemory = field(default_factory=PlausibilityMemory)
    interlocks: InterlockMemory = field(default_factory=InterlockMemory)
    applied: Applied = field(default_factory=Applied)

    def says_yes(self, question: str) -> bool:
        """Whether the person answers yes."""
        return self.ask(f"{question} [y/n] ").strip().lower() in ("y", "yes")

    def rest(self) -> None:
        """Until the next look."""
        self.clock.sleep_until(self.clock.now().mono_s + LOOK_S)

    def felt(self) -> Temperatures:
        """What each probe says now; those that say nothing are left out."""
        return {r.role: r.value_c for r in self.probes.read() if r.value_c is not None}

    def look(self, wanted: Wanted) -> Permits:
        """One turn as the loop makes it, for a wish instead of a demand; what was allowed."""
        readings = self.probes.read()
        now = self.clock.now()
        self.sensed, evidence = sense(self.sensed, readings, now)
        seen = Circumstances(self.settings.limits, self.interlocks, evidence, (), None, now)
        self.interlocks, allowed, _ = interlocks.permits(seen, self.applied)
        self.interlocks, command = interlocks.grant(
            self.interlocks, allowed, wanted, self.applied, now
        )
        self.applied = self.relays.apply(command)
        return allowed


def commission(walk: Walk) -> Iterator[Found]:
    """The whole walk, one finding after the other; the relays are off when it ends or is left."""
    try:
        yield from _names(walk)
        yield from _fan(walk)
        yield from _pad(walk)
        yield from _cut_out(walk)
    finally:
        walk.relays.off()


def _names(walk: Walk) -> Iterator[Found]:
    """Each probe is warmed in turn; the one that rises is the one that was meant, or is not."""
    for role in walk.settings.probes.fitted():
        answer = walk.ask(
            f"Take the {role.value} probe into your warm hand and press Enter, or type skip: "
        )
        if answer.strip():
            yield Found(f"{role.value} probe", "not tried", "Run this walk again and warm it.")
            continue
        yield _warmed(walk, role)


def _warmed(walk: Walk, role: Role) -> Found:
    before = walk.felt()
    until_s = walk.clock.now().mono_s + WARMING_S
    rises: dict[Role, float] = {}
    while walk.clock.now().mono_s < until_s and max(rises.values(), default=0.0) < WARMED_K:
        walk.rest()
        after = walk.felt()
        rises = {each: after[each] - before[each] for each in before if each in after}
    warmest = max(rises, key=lambda each: rises[each], default=None)
    name = f"{role.value} probe"
    if warmest is None or rises[warmest] < WARMED_K:
        return Found(name, "no probe has warmed", "Was the hand warm? See that it is plugged in.")
    if warmest is role:
        return Found(name, f"it is the one that warmed, by {rises[role]:.1f} K")
    roms = walk.settings.probes.fitted()
    return Found(
        name,
        f"the probe that warmed is called {warmest.value} in the settings",
        f"Write {role.value} = {roms[warmest]!r} there, and give {warmest.value} its own.",
    )


def _proven(walk: Walk, wanted: Wanted) -> Permits:
    """Looks with everything off until the probes are believed, or for a minute."""
    until_s = walk.clock.now().mono_s + PROOF_S
    allowed = walk.look(Wanted())
    while walk.clock.now().mono_s < until_s and _vetoes(allowed, wanted):
        walk.rest()
        allowed = walk.look(Wanted())
    return allowed


def _vetoes(allowed: Permits, wanted: Wanted) -> list[str]:
    relay = Relay.HEAT if wanted.heat else Relay.FAN
    return [code for code in allowed.vetoes if relay in RULE_BY_CODE[code].relays]


def _forbidden(name: str, codes: list[str]) -> Found:
    rule = RULE_BY_CODE[codes[0]]
    return Found(
        name, f"it was kept off: {rule.text}", rule.remedy or "Run this walk again when it is so."
    )


def _fan(walk: Walk) -> Iterator[Found]:
    if walk.settings.relays.fan_gpio is None:
        return
    wanted = Wanted(fan=True)
    vetoes = _vetoes(_proven(walk, wanted), wanted)
    if vetoes:
        yield _forbidden("fan", vetoes)
        return
    yield from _seen_by_person(walk, "fan", *_pulsed(walk, wanted, FAN_S))


def _pad(walk: Walk) -> Iterator[Found]:
    if not walk.says_yes(
        "The pad will be on for up to two minutes. Is it pressed flat on a vessel filled with "
        "water, under its jacket, with its cut-out in place?"
    ):
        yield Found("pad", "not tried", "Fill the vessel, fix the pad, run this walk again.")
        return
    wanted = Wanted(heat=True)
    vetoes = _vetoes(_proven(walk, wanted), wanted)
    if vetoes:
        yield _forbidden("pad", vetoes)
        return
    before = walk.felt()
    pulse = _pulsed(walk, wanted, PULSE_S_MAX)
    after = walk.felt()
    rises = {role: after[role] - before[role] for role in before if role in after}
    yield from _seen_by_person(walk, "pad", *pulse)
    yield from _seen_by_probes(walk, rises)


def _pulsed(walk: Walk, wanted: Wanted, seconds: float) -> tuple[bool, list[str]]:
    """On for so long, unless an interlock ends it.

    Returns:
        whether its line was ever seen on, and the codes of the interlocks that ended it.
    """
    until_s = walk.clock.now().mono_s + seconds
    was_on = False
    ended_by: list[str] = []
    try:
        while walk.clock.now().mono_s < until_s and not ended_by:
            walk.rest()
            allowed = walk.look(wanted)
            permit = allowed.heat if wanted.heat else allowed.fan
            ended_by = _vetoes(allowed, wanted) if permit is Permit.OFF else []
            was_on = was_on or (walk.applied.heat if wanted.heat else walk.applied.fan)
    finally:
        walk.relays.off()
        walk.applied = Applied()
        # Why: the half hour between fan and heat is about ferments; what has tripped stays.
        walk.interlocks = InterlockMemory(trips=walk.interlocks.trips)
    return was_on, ended_by


def _seen_by_person(walk: Walk, name: str, was_on: bool, ended_by: list[str]) -> Iterator[Found]:
    if ended_by:
        yield _forbidden(f"{name} relay", ended_by)
    elif not was_on:
        yield Found(
            f"{name} relay",
            "its line did not follow",
            "Look for a short circuit, a second program on the pin, or a wrong pin there.",
        )
    else:
        yield Found(f"{name} relay", "its line followed and was read back")
    if walk.says_yes(f"Did the {name}'s own outlet switch on just now, and no other?"):
        yield Found(name, "seen to switch")
    else:
        yield Found(
            name,
            "not seen to switch",
            "Unplug it. Compare GPIO, relay input and outlet with hardware/WIRING.md.",
        )


def _seen_by_probes(walk: Walk, rises: Mapping[Role, float]) -> Iterator[Found]:
    """What two minutes of the pad have warmed."""
    astray = [r for r, rise_k in rises.items() if r is not Role.PAD and rise_k >= BEER_ROSE_K]
    pad_k = rises.get(Role.PAD)
    if astray:
        names = " and ".join(role.value for role in astray)
        yield Found(
            "probes",
            f"the {names} probe warmed by {rises[astray[0]]:.1f} K in two minutes, as only a pad's "
            "can",
            f"It lies on the pad, or the ids of {names} and pad are exchanged.",
        )
    if Role.PAD not in walk.settings.probes.fitted():
        yield Found("pad probe", "none fitted, so only a person and the cut-out watch the pad")
    elif pad_k is None:
        yield Found("pad probe", "it says nothing", "See that it is plugged in.")
    elif pad_k < PAD_ROSE_K:
        yield Found(
            "pad probe",
            f"it rose by {pad_k:.1f} K only",
            "Look at the pad's plug, fuse and cut-out, and whether the probe lies on the pad.",
        )
    else:
        yield Found("pad probe", f"it rose by {pad_k:.1f} K")


def _cut_out(walk: Walk) -> Iterator[Found]:
    if walk.says_yes(
        "Have you, or the electrician, tried the thermal cut-out as hardware/COMMISSIONING.md "
        "says, and did it open?"
    ):
        yield Found("cut-out", "tried by a person")
    else:
        yield Found(
            "cut-out",
            "not tried",
            "Try it before you leave the pad alone: it is the last barrier, a condition of use.",
        )
