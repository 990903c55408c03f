"""A bank of hypotheses about how leaky the vessel is, each with a filter of its own.

Every branch supposes one hold share (the part of the pad's watts that one kelvin takes) and, that
given, follows beer, ferment heat, rise and delay with a small extended Kalman filter. How well a
branch foretells the next beer temperature is its weight. Three facts tell a leaky vessel from a
warm ferment: the garage swings and a ferment does not follow it, no ferment cools, and a ferment
never gives the same heat for long, so heat that stays is no ferment but a wrong hold share.
Pure, and part of `learn.py`, which says what is fed in and what comes of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from controller.thermal.model import FERMENT_W_PER_L_MAX, Vessel

# Why: 4 % apart, which interpolation by weight turns into 1 %; more would only cost time.
BRANCHES = 61
# Why: from half the loss of a jacket better than described to a bare vessel described as jacketed.
SHARE_LOW, SHARE_HIGH = 0.4, 4.5
STEP = math.log(SHARE_HIGH / SHARE_LOW) / (BRANCHES - 1)
NEGLIGIBLE = 1e-9  # Why: such a branch moves no figure that is shown.
# Source: seams, zip and base add 20 to 40 % to what the foam computes to, more or less.
SHARE_SD = 0.36
PAD_SD = 0.10  # Source: IEC 60335-1 allows 10 % from the rating (from memory), mains as much.
CAPACITY_SD = 0.06  # Why: a brewer knows the volume to a twentieth, and the shell is a guess.
RISE_SD = math.hypot(PAD_SD, CAPACITY_SD)
RISE_SD_LEAST = 0.002  # Why: pads age and litres are drawn, so nothing is ever quite settled.
DELAY_SD_LEAST_S = 5.0  # Why: half a tick.
DELAY_SD_S = 250.0  # Why: from 350 s well pressed to over 900 s peeling.
DELAY_S_LOW, DELAY_S_HIGH = 200.0, 2000.0  # Why: outside them nothing here was ever measured.
RISE_LOW, RISE_HIGH = 0.55, 1.7  # Why: a pad that strays further is another pad.
# Why: a smoothed reading of 0.0625 K steps with 0.02 K of noise.
BEER_VARIANCE_K2 = 0.02**2
MODEL_VARIANCE_K2 = 0.008**2  # Why: mixing; what one lump leaves out over a stretch.
# Why: the ripple of a switching pad is below a step of the probe, which makes the pad look weak.
RIPPLE_TRUST = 0.5
MODEL_SHARE = 0.01  # Why: draughts and lid films move the loss by about so much of the pad.
LAG_SHAPE_S = 100.0  # Why: a real pad's lag is several in a row, and the model has one.
# Why: a ferment begins from nothing at about this pace, per litre and root hour.
FERMENT_BIRTH_W_PER_L = 0.004
# Source: logistic courses of one to four days change their rate by up to a fifth an hour, and
# twice as slowly for each 10 K colder (Q10 of about 2, common practice).
FERMENT_PACE, FERMENT_PACE_AT_C, FERMENT_Q10_K = 0.22, 35.0, 10.0
FERMENT_START_SHARE = 0.2  # Why: of the most; nobody says how far the ferment is at the start.
# Why: so much of the loss may be the model's error, and seem like a ferment that cools.
COOLING_SHARE = 0.015
BLIND_DRIFT_W_PER_L = 0.1  # Why: without a garage probe a night's swing looks like a ferment.
# Why: five standard deviations from every likely branch is a lid or a jug, not a vessel.
SURPRISE = 25.0
LIKELY = -12.0  # Why: a branch less likely by e^12 than the best has been ruled out by a day.
SURPRISE_COUNTED = 9.0  # Why: one odd stretch must not outweigh a night.
MEMORY_S = 10 * 86_400.0  # Why: jackets slip and pads age over weeks.


class Branch(NamedTuple):
    """One hypothesis.

    Args:
        weight: the logarithm of its likelihood, the best branch's being 0.
        beer_c: the beer, °C.
        ferment: the ferment's heat, as a share of the pad's watts.
        rise: how fast the pad alone warms the beer, K/s.
        delay_s: how late the pad's heat shows.
        bb: variance of the beer; the next nine are the upper triangle of the covariance of beer,
            ferment, rise and delay, row by row.
    """

    weight: float
    beer_c: float
    ferment: float
    rise: float
    delay_s: float
    bb: float
    bf: float
    br: float
    bd: float
    ff: float
    fr: float
    fd: float
    rr: float
    rd: float
    dd: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """What happened over some minutes.

    Args:
        span_s: how long it was.
        heat_s: seconds of pad.
        warmth_k_s: beer above garage, summed over time; 0 when blind.
        lag_change: how much more of the pad's duty had come through at its end than at its start.
        beer_c: the beer at its end.
        is_blind: there is no garage probe.
        has_switched: the pad has switched in it.
    """

    span_s: float
    heat_s: float
    warmth_k_s: float
    lag_change: float
    beer_c: float
    is_blind: bool = False
    has_switched: bool = False


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of the vessel in shares of the pad's watts; `_sd` are standard deviations.

    Args:
        share_per_k: part of the pad's watts that one kelvin above the garage takes.
        share_sd: of the logarithm of it.
        rise: how fast the pad alone warms the beer, K/s.
        rise_sd: of the logarithm of it.
        together: covariance of both logarithms.
        delay_s: how late the pad's heat shows.
        delay_sd_s: of it.
        ferment: the ferment's heat.
        ferment_sd: of it.
    """

    share_per_k: float
    share_sd: float
    rise: float
    rise_sd: float
    together: float
    delay_s: float
    delay_sd_s: float
    ferment: float
    ferment_sd: float


@dataclass(frozen=True, slots=True)
class Ground:
    """What stays the same for all stretches of one vessel."""

    shares_per_k: tuple[float, ...]
    rise: float
    birth: float
    ferment_max: float
    blind_drift: float


Bank: TypeAlias = tuple[Branch, ...]


def ground_of(vessel: Vessel) -> Ground:
    """The ground for a vessel as described."""
    described = vessel.loss_w_per_k / vessel.pad_w
    shares = tuple(described * SHARE_LOW * math.exp(STEP * place) for place in range(BRANCHES))
    litres_per_w = vessel.ferment_w_max / FERMENT_W_PER_L_MAX / vessel.pad_w
    return Ground(
        shares,
        vessel.rise_k_per_s,
        FERMENT_BIRTH_W_PER_L * litres_per_w,
        vessel.ferment_w_max / vessel.pad_w,
        BLIND_DRIFT_W_PER_L * litres_per_w,
    )


def described(vessel: Vessel) -> Belief:
    """What is believed of a vessel as described, before anything has been seen."""
    ferment_sd = FERMENT_START_SHARE * vessel.ferment_w_max / vessel.pad_w
    share = vessel.loss_w_per_k / vessel.pad_w
    return Belief(
        share, SHARE_SD, vessel.rise_k_per_s, RISE_SD, 0.0, vessel.delay_s, DELAY_SD_S, 0.0,
        ferment_sd,
    )  # fmt: skip


def begun(ground: Ground, belief: Belief, beer_c: float) -> Bank:
    """A bank that believes this, with the beer at this temperature."""
    middle = math.log(belief.share_per_k)
    rest = (
        beer_c, belief.ferment, belief.rise, belief.delay_s, BEER_VARIANCE_K2, 0.0, 0.0, 0.0,
        belief.ferment_sd**2, 0.0, 0.0, (belief.rise_sd * belief.rise) ** 2, 0.0,
        belief.delay_sd_s**2,
    )  # fmt: skip
    bank = []
    for share in ground.shares_per_k:
        away = (math.log(share) - middle) / belief.share_sd
        # Why: Student's t with three degrees of freedom; a description can be plainly wrong.
        bank.append(Branch(-2.0 * math.log1p(away * away / 3.0), *rest))
    return tuple(bank)


def resumed(ground: Ground, bank: Bank, beer_c: float, away_s: float) -> Bank:
    """The bank after `away_s` seconds in which nothing could be learned; only the beer is new."""
    hours, unknown = max(away_s, 0.0) / 3600.0, ground.ferment_max**2
    return tuple(
        Branch(
            b.weight, beer_c, b.ferment, b.rise, b.delay_s, BEER_VARIANCE_K2, 0.0, 0.0, 0.0,
            min(b.ff + (ground.birth + FERMENT_PACE * abs(b.ferment)) ** 2 * hours, unknown),
            b.fr, b.fd, b.rr, b.rd, b.dd,
        )
        for b in bank
    )  # fmt: skip


def advanced(ground: Ground, bank: Bank, stretch: Stretch) -> tuple[Bank, bool]:
    """The bank after one more stretch, and whether it was too strange to learn from."""
    pace = FERMENT_PACE * 2.0 ** ((stretch.beer_c - FERMENT_PACE_AT_C) / FERMENT_Q10_K)
    pairs = zip(bank, ground.shares_per_k, strict=True)
    steps = [_step(branch, share, ground, stretch, pace) for branch, share in pairs]
    likely = [step[1] for step, branch in zip(steps, bank, strict=True) if branch.weight > LIKELY]
    if min(likely) > SURPRISE:
        return resumed(ground, bank, stretch.beer_c, stretch.span_s), True
    best = max(branch.weight for branch, _ in steps)
    fading = 1.0 - stretch.span_s / MEMORY_S
    return tuple(
        branch._replace(weight=(branch.weight - best) * fading) for branch, _ in steps
    ), False


def _step(
    branch: Branch, share_per_k: float, ground: Ground, stretch: Stretch, pace: float
) -> tuple[Branch, float]:
    """One stretch of one branch's filter, and how surprising its end was, in variances.

    The beer's rise is linear in the ferment, and in rise and delay by their first derivatives.
    """
    weight, beer_c, ferment, rise, delay_s, bb, bf, br, bd, ff, fr, fd, rr, rd, dd = branch
    span_s, lag = stretch.span_s, stretch.lag_change
    loss_s = share_per_k * stretch.warmth_k_s
    net_s = stretch.heat_s - delay_s * lag + ferment * span_s - loss_s
    # By how much the beer's end moves with ferment, rise (`net_s`) and delay.
    by_f, by_d = rise * span_s, -rise * lag
    pf = bf + ff * by_f + fr * net_s + fd * by_d
    pr = br + fr * by_f + rr * net_s + rd * by_d
    pd = bd + fd * by_f + rd * net_s + dd * by_d
    pb = bb + bf * by_f + br * net_s + bd * by_d + by_f * pf + net_s * pr + by_d * pd
    pb += MODEL_VARIANCE_K2 + (MODEL_SHARE * by_f) ** 2 + (LAG_SHAPE_S * by_d) ** 2
    drift = ground.birth + pace * max(ferment, 0.0)
    lowest = -COOLING_SHARE * loss_s / span_s
    if stretch.is_blind:
        drift, lowest = ground.blind_drift, -math.inf
    ff += drift * drift * span_s / 3600.0
    pb = max(pb, MODEL_VARIANCE_K2)  # Why: rounding must never make a variance negative.
    spread = pb + BEER_VARIANCE_K2
    miss_k = stretch.beer_c - (beer_c + rise * net_s)
    surprise = miss_k * miss_k / spread
    gb, gf, gr, gd = pb / spread, pf / spread, pr / spread, pd / spread
    trust = RIPPLE_TRUST if stretch.has_switched else 1.0
    rr -= trust * (2.0 - trust) * gr * pr  # Why: what a damped gain leaves of the variance.
    if not stretch.is_blind:
        weight -= 0.5 * (min(surprise, SURPRISE_COUNTED) + math.log(spread))
    return Branch(
        weight,
        stretch.beer_c - miss_k * (1.0 - gb),
        min(max(ferment + gf * miss_k, lowest), ground.ferment_max),
        min(max(rise + trust * gr * miss_k, RISE_LOW * ground.rise), RISE_HIGH * ground.rise),
        min(max(delay_s + gd * miss_k, DELAY_S_LOW), DELAY_S_HIGH),
        pb - gb * pb, pf - gb * pf, pr - gb * pr, pd - gb * pd,
        max(ff - gf * pf, 0.0), fr - gf * pr, fd - gf * pd,
        max(rr, (RISE_SD_LEAST * rise) ** 2), rd - gr * pd, max(dd - gd * pd, DELAY_SD_LEAST_S**2),
    ), surprise  # fmt: skip


def believed(ground: Ground, bank: Bank) -> Belief:
    """What the bank believes: every branch by its weight."""
    best = max(branch.weight for branch in bank)
    weights = [math.exp(branch.weight - best) for branch in bank]
    total = sum(weights)
    first = math.log(ground.shares_per_k[0])
    share = share2 = rise = rise2 = both = delay = delay2 = ferment = ferment2 = 0.0
    for place, (weight, b) in enumerate(zip(weights, bank, strict=True)):
        if weight < NEGLIGIBLE:
            continue
        part = weight / total
        log_share, log_rise = first + STEP * place, math.log(b.rise / ground.rise)
        share += part * log_share
        share2 += part * log_share * log_share
        rise += part * log_rise
        rise2 += part * (log_rise * log_rise + b.rr / (b.rise * b.rise))
        both += part * log_share * log_rise
        delay += part * b.delay_s
        delay2 += part * (b.delay_s * b.delay_s + b.dd)
        ferment += part * b.ferment
        ferment2 += part * (b.ferment * b.ferment + b.ff)
    return Belief(
        math.exp(share),
        _sd(share2 - share * share + STEP * STEP / 12.0),
        ground.rise * math.exp(rise),
        _sd(rise2 - rise * rise),
        both - share * rise,
        delay,
        _sd(delay2 - delay * delay),
        ferment,
        _sd(ferment2 - ferment * ferment),
    )


def _sd(variance: float) -> float:
    return math.sqrt(max(variance, 0.0))
