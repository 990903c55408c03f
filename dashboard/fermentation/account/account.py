"""Account: why a batch took as long as it did, and what it would have taken.

The hours it took are, exactly, the hours usual for its kind at its usual temperature, the hours
temperature cost, and a remainder temperature does not explain. The first comes from the strain's
table, the second from the counterfactual of `spells`, the third from the readings; `signatures`
says what the third looks like. It blames nothing it has no figure for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

from dashboard.fermentation.account.lived import LivedHour, warmth_lived
from dashboard.fermentation.account.signatures import DONE, Evidence, Sign, Signature, signs
from dashboard.fermentation.account.spells import Cause, Spell, spells, worth
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.course.posterior import Posterior, posterior_of, quantile
from dashboard.fermentation.course.prior import EIGHTY, prior_for
from dashboard.fermentation.course.warmth import WarmClock, clock_for
from dashboard.fermentation.strains import Strain

SHARE_MIN = 0.05  # Why: a ferment that has not begun is judged at its first twentieth.
SHORT_H_PER_PLATO = 12.0  # Why: one °P short weighs as much as half a day late.
SPREAD_MIN_H = 3.0  # Why: no two batches end within three hours of each other.


@dataclass(frozen=True, slots=True)
class Account:
    """The hours of a batch up to a share of its drop.

    `took_h` = `usual_h` + `temperature_h` + `remainder_h`; a negative part was gained.
    `usual_spread_h` is how much batches of this kind differ by (80 % either side). `blamed` are the
    causes in order of what they cost, the first of which is named first.
    """

    share: float
    took_h: float
    usual_h: float
    temperature_h: float
    remainder_h: float
    usual_spread_h: float
    spells: tuple[Spell, ...]
    signs: tuple[Sign, ...]
    blamed: tuple[Cause | Signature, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """What the brewer entered of the batch, corrected; None where nothing was."""

    original_sg: float
    readings: tuple[Reading, ...]
    expected_final_sg: float | None = None
    forced_sg: float | None = None
    hopped_hour: float | None = None


def account_of(strain: Strain, told: Told, hours: Sequence[LivedHour]) -> Account:
    """Why the batch took as long as it did, up to its newest reading.

    Args:
        strain: its kind of yeast.
        told: gravities, as entered and corrected.
        hours: what it lived through; at least one.

    Raises:
        GravityError: a gravity is outside its range.
    """
    assert hours, "nothing was measured"
    clock = clock_for(strain, warmth_lived(hours))
    prior = prior_for(strain, told.original_sg, told.expected_final_sg)
    posterior = posterior_of(prior, told.readings, clock)
    share = _share_done(posterior, told.readings, clock, hours[-1].hour + 1.0)
    usual_h = prior.course((0.0, 0.0, 0.0, 0.0)).warm_h_at(share)
    needed = [course.warm_h_at(share) for course in posterior.courses]
    warm_h = quantile(needed, posterior.weights, 0.5) if told.readings else usual_h
    took_h = clock.hour(warm_h)
    took_h = hours[-1].hour + 1.0 if took_h is None else min(took_h, hours[-1].hour + 1.0)
    warm_h = clock.warm_h(took_h)
    found_spells = spells(strain, hours, took_h)
    evidence = Evidence(
        strain, prior, posterior, told.readings, clock, told.forced_sg, told.hopped_hour
    )
    found_signs = _unexcused(strain, signs(evidence), hours)
    spread = exp(EIGHTY * prior.log_terminal_sd) - 1.0
    remainder_h = warm_h - usual_h if told.readings else 0.0
    return Account(
        share=share,
        took_h=took_h,
        usual_h=usual_h if told.readings else warm_h,
        temperature_h=took_h - warm_h,
        remainder_h=remainder_h,
        usual_spread_h=max(SPREAD_MIN_H, spread * usual_h),
        spells=found_spells,
        signs=found_signs,
        blamed=_blamed(found_spells, found_signs),
    )


def _share_done(
    posterior: Posterior, readings: Sequence[Reading], clock: WarmClock, now_h: float
) -> float:
    """The share of the drop to judge by: what is done by the newest reading, or by now."""
    last_h = readings[-1].hour if readings else now_h
    warm_h = clock.warm_h(last_h)
    pairs = zip(posterior.weights, posterior.courses, strict=True)
    done = sum(weight * course.share_done(warm_h) for weight, course in pairs)
    return min(max(done, SHARE_MIN), DONE)


def _unexcused(
    strain: Strain, found: Sequence[Sign], hours: Sequence[LivedHour]
) -> tuple[Sign, ...]:
    """Without the early stop that cold at the end explains: such a beer may go on when warmed."""
    last = hours[-24:]
    cold = sum(each.beer_c < strain.low_c or worth(strain, each.beer_c) < 0.5 for each in last)
    is_cold = 2 * cold > len(last)
    ends = (Signature.STOPPED, Signature.LOW_OXYGEN)
    return tuple(each for each in found if not (is_cold and each.signature in ends))


def _blamed(
    found_spells: Sequence[Spell], found_signs: Sequence[Sign]
) -> tuple[Cause | Signature, ...]:
    """Causes and signatures by what they cost; spells of one cause count together."""
    cost: dict[Cause | Signature, float] = {}
    for spell in found_spells:
        cost[spell.cause] = cost.get(spell.cause, 0.0) + spell.lost_h
    for sign in found_signs:
        hours = sign.lost_h + SHORT_H_PER_PLATO * sign.short_plato
        cost[sign.signature] = sign.chance * hours
    return tuple(sorted(cost, key=lambda each: -cost[each]))
