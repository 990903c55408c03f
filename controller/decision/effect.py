"""Effect: whether switching does what it should. (Third stage.)

Control never judges itself, so this stage watches from the side, given what the relays really did:
how the beer warms, whether its reading lives, and how the pad answers. It decides nothing about
relays; the interlocks and alarms act on what it finds.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Applied, Evidence, Finding, Moment
from controller.decision.watching import pad, stillness, warmth
from controller.decision.watching.look import Look
from controller.thermal.model import Vessel

TICK_GAP_S_MAX = 60.0  # Why: over a longer gap nobody knows what the relays did.


@dataclass(frozen=True, slots=True)
class EffectMemory:
    """What each watch remembers.

    Args:
        warmth: of the beer's trend.
        stillness: of its reading.
        pad: of the pad's answers.
        last_mono_s: when this stage last looked; None before its first look.
    """

    warmth: warmth.WarmthMemory = warmth.WarmthMemory()
    stillness: stillness.StillnessMemory = stillness.StillnessMemory()
    pad: pad.PadMemory = pad.PadMemory()
    last_mono_s: float | None = None


def watch(
    vessel: Vessel, memory: EffectMemory, evidence: Evidence, applied: Applied, now: Moment
) -> tuple[EffectMemory, tuple[Finding, ...]]:
    """What has been seen of the relays' effect, given what they really did since the last tick."""
    dt_s = 0.0 if memory.last_mono_s is None else now.mono_s - memory.last_mono_s
    if not 0.0 < dt_s <= TICK_GAP_S_MAX:
        rested = warmth.after_a_gap(memory.warmth)
        return EffectMemory(warmth=rested, last_mono_s=now.mono_s), ()
    look = Look(vessel, evidence, applied, dt_s, now.mono_s)
    warm, of_warmth = warmth.watch(memory.warmth, look)
    still, of_stillness = stillness.watch(memory.stillness, look, warm.balance.known_loss_w(look))
    padded, of_pad = pad.watch(memory.pad, look)
    found = (*of_warmth, *of_stillness, *of_pad)
    return EffectMemory(warm, still, padded, now.mono_s), found
