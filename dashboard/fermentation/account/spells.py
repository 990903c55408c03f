"""Spells: where the hours went that temperature cost, and what each cold spell was due to.

The counterfactual is exact: a beer that needs W warm hours and took T hours lost T - W of them,
which is the sum over its hours of one less what each was worth. Each hour's loss is split into what
the profile asked for and what the beer missed of it; the misses are gathered into spells, each with
one cause. It knows no gravity and no words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from dashboard.fermentation.account.lived import LivedHour, Trouble
from dashboard.fermentation.course.kinetics import CARDINALS, rate_share
from dashboard.fermentation.strains import Strain

COLD_K = 0.5  # Why: a held beer stays within 0.3 K; a probe's own error is as much again.
APART_H = 3  # Why: two dips with two good hours between them are one story.
FULL_SHARE = 0.9  # Why: a relay at its limit rests a little at each window's end.
EARLY_H = 1.0  # Why: a beer cold from its first hour was pitched cold.
ALWAYS_SHARE = 0.6  # Why: cold for most of the time there was is no spell of weather.
ALWAYS_H = 36.0  # Why: a day and a half is longer than one night with its cold morning.
NAMED_H = 0.5  # Why: a loss of less is nobody's concern.
RISE_K = 1.0  # Why: a target that rose by more left the beer behind it for a while.


class Cause(Enum):
    """What made a spell, or a whole ferment, cost time."""

    COLD_NIGHT = "cold night"
    WEAK_PAD = "weak pad"
    WARM_UP = "pitched cold"
    OUTAGE = "outage"
    PROBE = "probe"
    TRIP = "trip"
    RISE = "rise"
    NOT_HEATED = "not heated"
    PROFILE = "profile"


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch that cost time. Hours are since pitching; `lost_h` is at the usual temperature.

    `lowest_c` and `garage_c` are the coldest of beer and garage in it; `over_garage_k` is how far
    above the garage the pad held the beer, where it was at its limit.
    """

    cause: Cause
    from_h: float
    to_h: float
    lost_h: float
    lowest_c: float
    target_c: float | None
    garage_c: float | None
    over_garage_k: float | None


def spells(strain: Strain, hours: Sequence[LivedHour], until_h: float) -> tuple[Spell, ...]:
    """What cost time up to `until_h`, the costliest first. Their sum and what the warm hours gave
    back is the whole loss.
    """
    lived = [each for each in hours if each.hour < until_h]
    found = [_spell(strain, run, hours) for run in _cold_runs(lived)]
    found = [_as_always(each, lived) for each in found]
    profile = _profile(strain, lived)
    if profile is not None:
        found.append(profile)
    named = [each for each in found if each.lost_h >= NAMED_H]
    return tuple(sorted(named, key=lambda each: -each.lost_h))


def worth(strain: Strain, beer_c: float) -> float:
    """What an hour at this temperature is worth in hours at the usual one."""
    cardinal = CARDINALS[strain.category]
    return rate_share(cardinal, beer_c) / rate_share(cardinal, strain.expected.usual_c)


def wanted_c(strain: Strain, lived: LivedHour) -> float:
    """What the beer should have had then: the target, or the usual temperature without one."""
    return strain.expected.usual_c if lived.target_c is None else lived.target_c


def _is_cold(lived: LivedHour) -> bool:
    return lived.target_c is not None and lived.beer_c < lived.target_c - COLD_K


def _cold_runs(lived: Sequence[LivedHour]) -> Iterator[list[LivedHour]]:
    """Stretches of cold hours with no more than two good or unknown ones between."""
    run: list[LivedHour] = []
    pending: list[LivedHour] = []
    target_c: float | None = None
    for each in lived:
        target_c = each.target_c if each.target_c is not None else target_c
        is_cold = _is_cold(each) or (
            each.target_c is None and target_c is not None and each.beer_c < target_c - COLD_K
        )
        if is_cold:
            run += [*pending, each] if run else [each]
            pending = []
        elif run:
            pending.append(each)
            if len(pending) >= APART_H:
                yield run
                run, pending = [], []
    if run:
        yield run


def _spell(strain: Strain, run: Sequence[LivedHour], hours: Sequence[LivedHour]) -> Spell:
    target_c = max((each.target_c for each in run if each.target_c is not None), default=None)
    lost_h = 0.0
    for each in run:
        aim_c = each.target_c if each.target_c is not None else target_c
        aim_c = strain.expected.usual_c if aim_c is None else aim_c
        lost_h += worth(strain, aim_c) - worth(strain, each.beer_c)
    garages = [each.garage_c for each in run if each.garage_c is not None]
    full = [each for each in run if each.heat_share >= FULL_SHARE and each.garage_c is not None]
    over = [each.beer_c - each.garage_c for each in full if each.garage_c is not None]
    return Spell(
        cause=_cause(run, hours),
        from_h=run[0].hour,
        to_h=run[-1].hour + 1.0,
        lost_h=lost_h,
        lowest_c=min(each.beer_c for each in run),
        target_c=target_c,
        garage_c=min(garages, default=None),
        over_garage_k=sum(over) / len(over) if over else None,
    )


def _cause(run: Sequence[LivedHour], hours: Sequence[LivedHour]) -> Cause:
    """The first that fits: an interruption in or just before it, a cold pitch, a risen target, the
    pad at its limit, or heat that did not come.
    """
    first_h, last_h = run[0].hour, run[-1].hour
    near = [each for each in hours if first_h - 2.0 <= each.hour <= last_h]
    troubles = [each.trouble for each in near if each.trouble is not None]
    if troubles:
        worst = max(set(troubles), key=troubles.count)
        return {Trouble.OUTAGE: Cause.OUTAGE, Trouble.PROBE: Cause.PROBE}.get(worst, Cause.TRIP)
    falling = [each for each in run if each.heat_share >= FULL_SHARE]
    if first_h < EARLY_H and last_h - first_h < ALWAYS_H:
        return Cause.WARM_UP
    before = [each for each in hours if each.hour < first_h and each.target_c is not None]
    first_c, before_c = run[0].target_c, before[-1].target_c if before else None
    if first_c is not None and before_c is not None and first_c - before_c > RISE_K:
        return Cause.RISE
    if 2 * len(falling) >= len(run):
        return Cause.COLD_NIGHT
    return Cause.NOT_HEATED


def _as_always(spell: Spell, lived: Sequence[LivedHour]) -> Spell:
    """A pad at its limit for most of the time there was is too weak, and no night's doing."""
    length_h, whole_h = spell.to_h - spell.from_h, float(len(lived))
    limits = (Cause.COLD_NIGHT, Cause.WARM_UP)
    if spell.cause in limits and length_h > max(ALWAYS_H, ALWAYS_SHARE * whole_h):
        return replace(spell, cause=Cause.WEAK_PAD)
    return spell


def _profile(strain: Strain, lived: Sequence[LivedHour]) -> Spell | None:
    """What the targets themselves cost against the usual temperature."""
    asked = [each for each in lived if each.target_c is not None]
    if not asked:
        return None
    targets = [each.target_c for each in asked if each.target_c is not None]
    return Spell(
        cause=Cause.PROFILE,
        from_h=asked[0].hour,
        to_h=asked[-1].hour + 1.0,
        lost_h=sum(1.0 - worth(strain, target_c) for target_c in targets),
        lowest_c=min(targets),
        target_c=max(targets),
        garage_c=None,
        over_garage_k=None,
    )
