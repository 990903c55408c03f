"""Pad: whether its probe answers to switching as a heated pad must. (Part of the effect stage.)

A pad answers within minutes where the beer takes half an hour. Needs a pad probe; without one it
finds nothing, except a beer probe that itself answers like a pad. It decides nothing about relays.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.decision.vocabulary import Finding
from controller.decision.watching.look import Look

# Why: the lag of a well-pressed pad of 60 to 150 W (150 to 250 s); a bad one only answers longer.
ANSWER_S = 200.0
FRESH_PER_S = 0.0005  # Why: later than some 8 min after a switching the pad only drifts.
HALF = 0.5  # Why: half of a full answer, some 140 s after a switching from rest.
QUARTER = 0.25  # Why: the shortest run of the relay brings as much.
# Why: a pad sold for the purpose runs 5 to 15 K above what it lies on; 1 K is no answer.
ANSWER_K_MIN = 1.0
ASTRAY_K = 3.0  # Why: of a pad's 5 to 15 K; the beer itself answers with a twentieth of it.
ASTRAY_LOOKS = 2  # Why: a probe put back into its well moves once.
COLD_S = 300.0  # Why: hot wort poured in is warmer than the pad for two or three minutes.
COLD_DUTY = 0.9
HOT_K = 3.0  # Why: a pad at rest is between beer and garage; two probes may differ by 1 K.
HOT_S = 60.0
REST_DUTY = 0.05  # Why: ten minutes after the last heat.
LOOSE_SHARE = 1.5  # Source: half as much again as learned is a peeling contact (own model).
LOOSE_DUTY_MIN = 0.15
LOOSE_S = 1800.0  # Why: three cycles.
LOOSE_KNOWN_S = 43_200.0
LOOSE_LEARN_S = 5400.0


@dataclass(frozen=True, slots=True)
class Answer:
    """How far a probe moved since switching one way, against the share of an answer due."""

    due: float = 0.0
    moved_k: float = 0.0

    def grown(self, due: float, moved_k: float) -> Answer:
        """With one more tick of it."""
        return Answer(self.due + due, self.moved_k + moved_k)

    @property
    def full_k(self) -> float:
        """What a full answer would be, by this part of it."""
        return self.moved_k / self.due


@dataclass(frozen=True, slots=True)
class Gap:
    """How far the pad stands above the beer.

    Args:
        gap_k: over some cycles. duty: the pad's share over the same.
        known_k: what a full pad's gap is, as learned over half a day; None before that.
        known_s: for how long it has been learned.
    """

    gap_k: float = 0.0
    duty: float = 0.0
    known_k: float | None = None
    known_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Levels:
    """`cold_s` is for how long it has been cold though on, `hot_s` hot though off; `rest_c` the
    coldest since it has been at rest, None while it is not.
    """

    cold_s: float = 0.0
    hot_s: float = 0.0
    rest_c: float | None = None


@dataclass(frozen=True, slots=True)
class PadMemory:
    """What is remembered of the pad.

    Args:
        duty: share of the pad over its own lag.
        pad_c, beer_c: what the probes said last.
        on, off: the pad's answers to being switched on and off, as far as they have come.
        stray: the beer's to being switched on.
        astray: how often in a row the beer's probe has answered like a pad.
        levels: how long it has been where it should not be.
        gap: how far it stands above the beer.
    """

    duty: float = 0.0
    pad_c: float | None = None
    beer_c: float | None = None
    on: Answer = Answer()
    off: Answer = Answer()
    stray: Answer = Answer()
    astray: int = 0
    levels: Levels = Levels()
    gap: Gap = Gap()


_NO_ANSWER = Answer()
_NO_LEVELS = Levels()
_NOTHING: tuple[Finding, ...] = ()


def watch(memory: PadMemory, look: Look) -> tuple[PadMemory, tuple[Finding, ...]]:
    """What the pad's own probe says of the heat."""
    beer_c, pad_c, is_on = (
        look.evidence.beer.value_c,
        look.evidence.pad.value_c,
        look.applied.heat,
    )
    due = (float(is_on) - memory.duty) * look.dt_s / ANSWER_S
    duty = memory.duty + due
    on, off, stray, astray = memory.on, memory.off, memory.stray, memory.astray
    found = _NOTHING
    if abs(due) >= FRESH_PER_S * look.dt_s and beer_c is not None and memory.beer_c is not None:
        if is_on:
            stray, astray, found = _strayed(memory, look, due, beer_c - memory.beer_c)
        if pad_c is not None and memory.pad_c is not None:
            is_hot, moved_k = pad_c > beer_c + HOT_K, pad_c - memory.pad_c
            if is_on:
                on, stays = _answered(on.grown(due, moved_k), not is_hot)
                found = (*found, Finding.PAD_STAYS_COLD) if stays else found
            else:
                off, stays = _answered(off.grown(-due, -moved_k), is_hot)
                found = (*found, Finding.PAD_STAYS_HOT) if stays else found
    levels, gap = _NO_LEVELS, memory.gap
    if pad_c is not None and beer_c is not None:
        levels, stuck = _levels(memory.levels, look, duty, (pad_c, beer_c))
        gap, loose = _gapped(gap, look, duty, pad_c - beer_c)
        found = (*found, *stuck, *loose)
    return PadMemory(duty, pad_c, beer_c, on, off, stray, astray, levels, gap), found


def _strayed(
    memory: PadMemory, look: Look, due: float, moved_k: float
) -> tuple[Answer, int, tuple[Finding, ...]]:
    """Whether the beer's probe answers to heat like a pad, twice in a row."""
    stray = memory.stray.grown(due, moved_k)
    if stray.due < QUARTER:
        return stray, memory.astray, ()
    # Why: the pad gives a nearly empty vessel many times its rate, and that is another finding.
    sane_k = ASTRAY_K + 10.0 * look.vessel.rise_k_per_s * ANSWER_S
    astray = memory.astray + 1 if stray.full_k > sane_k else 0
    if astray >= ASTRAY_LOOKS:
        return _NO_ANSWER, 0, (Finding.BEER_ON_PAD,)
    return _NO_ANSWER, astray, ()


def _answered(answer: Answer, is_suspect: bool) -> tuple[Answer, bool]:
    """The answer, begun anew once half of it is due, and whether it has then stayed out."""
    if answer.due < HALF:
        return answer, False
    return _NO_ANSWER, is_suspect and answer.full_k < ANSWER_K_MIN


def _levels(
    levels: Levels, look: Look, duty: float, felt_c: tuple[float, float]
) -> tuple[Levels, tuple[Finding, ...]]:
    """Looks at a pad long on that is no warmer than the beer, and one long off that warms."""
    pad_c, beer_c = felt_c
    if duty > COLD_DUTY and pad_c < beer_c + ANSWER_K_MIN:
        cold_s = levels.cold_s + look.dt_s
        return Levels(cold_s=cold_s), (Finding.PAD_STAYS_COLD,) if cold_s > COLD_S else ()
    if duty >= REST_DUTY:
        return _NO_LEVELS, ()
    rest_c = pad_c if levels.rest_c is None else min(pad_c, levels.rest_c)
    garage_c = look.evidence.garage.value_c
    around_c = max(beer_c, beer_c + HOT_K if garage_c is None else garage_c)
    is_hot = pad_c > max(around_c, rest_c) + HOT_K
    hot_s = levels.hot_s + look.dt_s if is_hot else 0.0
    return Levels(0.0, hot_s, rest_c), (Finding.PAD_STAYS_HOT,) if hot_s > HOT_S else ()


def _gapped(gap: Gap, look: Look, duty: float, above_k: float) -> tuple[Gap, tuple[Finding, ...]]:
    """Learns how far a full pad stands above the beer, and finds one that stands much higher."""
    share = look.dt_s / LOOSE_S
    gap_k, mean_duty = (
        gap.gap_k + (above_k - gap.gap_k) * share,
        gap.duty + (duty - gap.duty) * share,
    )
    if mean_duty < LOOSE_DUTY_MIN:
        return Gap(gap_k, mean_duty, gap.known_k, gap.known_s), ()
    full_k, known_s = gap_k / mean_duty, gap.known_s + look.dt_s
    if gap.known_k is None:
        return Gap(gap_k, mean_duty, full_k, known_s), ()
    if known_s > LOOSE_LEARN_S and full_k > LOOSE_SHARE * gap.known_k + HOT_K:
        return Gap(gap_k, mean_duty, gap.known_k, gap.known_s), (Finding.PAD_LOOSE,)
    known_k = gap.known_k + (full_k - gap.known_k) * look.dt_s / min(known_s, LOOSE_KNOWN_S)
    return Gap(gap_k, mean_duty, known_k, known_s), ()
