"""Kinetics: the course of a ferment in time, and how temperature hastens or slows it.

A logistic in warm hours: hours at the strain's usual temperature, of which an hour at another
temperature is worth more or less by the cardinal temperature model. It holds the shape only; what
a strain makes likely is `prior`'s, what readings say is `posterior`'s. It refuses nothing that is
a number, and knows neither clock nor batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

from dashboard.fermentation.gravity import plato_from_sg

# Why: e^50 is past the end of every course, and e^800 is no float.
TURNS_MAX = 50.0
# Why: one point of SG, the half of the finest mark a brewer's hydrometer has and the bubbles on it.
READING_SD_PLATO = 0.25


@dataclass(frozen=True, slots=True)
class Reading:
    """One corrected gravity: `hour` is hours since pitching, `sg` is SG 20/20.

    `sd_plato` is how far it may be off; a refractometer in fermenting beer is off by twice as much.
    """

    hour: float
    sg: float
    sd_plato: float = READING_SD_PLATO

    @property
    def plato(self) -> float:
        """The apparent extract in °P."""
        return plato_from_sg(self.sg)


@dataclass(frozen=True, slots=True)
class Cardinal:
    """The three temperatures of a kind of yeast: no rate below the first or above the last."""

    coldest_c: float
    best_c: float
    hottest_c: float


# Source: best and hottest of S. cerevisiae and of the cold-liking species and the span of the
# coldest: Salvado et al. 2011, Appl. Environ. Microbiol. (growth, abstract); kveik's best: D. Kits,
# published measurements; that no control strain of Foster et al. 2022 attenuates at 42 °C. The
# other figures are assumptions of ours between these; see the table of the forecast bench.
CARDINALS: dict[str, Cardinal] = {
    "kveik": Cardinal(5.0, 37.5, 45.0),
    "clean-ale": Cardinal(4.0, 32.3, 42.0),
    "english-ale": Cardinal(4.0, 32.3, 42.0),
    "belgian-ale": Cardinal(4.0, 32.3, 42.0),
    "saison": Cardinal(4.0, 34.0, 43.0),
    "wheat-ale": Cardinal(4.0, 32.3, 42.0),
    "lager": Cardinal(1.3, 28.0, 36.8),
    "hybrid": Cardinal(1.3, 28.0, 36.8),
    "mixed": Cardinal(4.0, 30.0, 40.0),
}


def rate_share(cardinal: Cardinal, beer_c: float) -> float:
    """The rate at this temperature as a share of the rate at the best one, 0 to 1.

    Source: the cardinal temperature model with inflection, Rosso, Lobry & Flandrois 1993,
    J. Theor. Biol. 162:447-463. Fitted to growth; that fermentation follows it is an assumption.
    """
    low_c, best_c, high_c = cardinal.coldest_c, cardinal.best_c, cardinal.hottest_c
    if not low_c < beer_c < high_c:
        return 0.0
    span_k, above_k = best_c - low_c, beer_c - low_c
    bottom = span_k * (beer_c - best_c) - (best_c - high_c) * (best_c + low_c - 2.0 * beer_c)
    return (beer_c - high_c) * above_k * above_k / (span_k * bottom)


def yeast_14_plato(
    hour: float, final_plato: float, drop_plato: float, rate_per_h: float, midpoint_h: float
) -> float:
    """The logistic as the method prints it: Pe + PD / (1 + exp(B (t - M))), in °P.

    Source: ASBC Yeast-14; Speers, Rogers & Smith 2003, J. Inst. Brew. 109:229-235. `Course` is
    this curve begun at the measured original extract.
    """
    turns = min(rate_per_h * (hour - midpoint_h), TURNS_MAX)
    return final_plato + drop_plato / (1.0 + exp(turns))


@dataclass(frozen=True, slots=True)
class Course:
    """One possible ferment: apparent extract against warm hours.

    Args:
        original_plato, final_plato: where it begins (at 0 warm hours) and where it ends.
        rate_per_h: B of the logistic, per warm hour; above 0.
        lag_turns: B times M, how much of the curve lies before its midpoint; above 0.
        skew: the exponent of the five-parameter form; above 1 ends more sharply than it begins.
    """

    original_plato: float
    final_plato: float
    rate_per_h: float
    lag_turns: float
    skew: float = 1.0

    def share_done(self, warm_h: float) -> float:
        """The share of the whole drop that is done, 0 to 1."""
        turns = min(self.rate_per_h * max(warm_h, 0.0) - self.lag_turns, TURNS_MAX)
        return 1.0 - float(((1.0 + exp(-self.lag_turns)) / (1.0 + exp(turns))) ** self.skew)

    def plato(self, warm_h: float) -> float:
        """The apparent extract after so many warm hours."""
        drop_plato = self.original_plato - self.final_plato
        return self.original_plato - drop_plato * self.share_done(warm_h)

    def warm_h_at(self, share: float) -> float:
        """The warm hours after which this share (0 up to, not including, 1) is done."""
        assert 0.0 <= share < 1.0, share
        grown = (1.0 + exp(-self.lag_turns)) * (1.0 - share) ** (-1.0 / self.skew) - 1.0
        return max(0.0, (log(grown) + self.lag_turns) / self.rate_per_h)

    def fall_per_h(self, warm_h: float) -> float:
        """How fast the extract falls then, in °P per warm hour."""
        turns = min(self.rate_per_h * max(warm_h, 0.0) - self.lag_turns, TURNS_MAX)
        left = (self.original_plato - self.final_plato) * (1.0 - self.share_done(warm_h))
        return left * self.skew * self.rate_per_h / (1.0 + exp(-turns))


def rate_for(terminal_h: float, lag_turns: float, skew: float, share: float) -> float:
    """The rate with which this share of the drop is done after `terminal_h` warm hours."""
    shape = Course(1.0, 0.0, 1.0, lag_turns, skew)
    return shape.warm_h_at(share) / terminal_h
