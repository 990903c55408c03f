"""Prior: which courses a kind of yeast makes likely before anything was measured.

Four independent standard normals stand for what differs from batch to batch: how far it ferments,
how long it takes, how long it waits, how sharply it ends. The first two come from the table of the
strain; the last two from the shape of ale and lager ferments in general. Nothing here is fitted to
a batch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import exp, hypot, log, sqrt
from statistics import NormalDist

from dashboard.fermentation.course.kinetics import Course, rate_for
from dashboard.fermentation.gravity import plato_from_sg
from dashboard.fermentation.strains import Strain

DIMENSIONS = 4  # Why: attenuation, time, lag, skew.
EIGHTY = (
    1.2816  # Source: the 90 % point of the standard normal; ranges are read as 80 % of batches.
)
# Why: a wort's own fermentability, beyond its yeast: mash temperatures move it by a few per cent.
WORT_SD = 0.02
TERMINAL_SHARE = 0.97  # Why: a brewer who reads a tenth of a °P calls this the end.
# Why: B times M of a logistic. At 4.6 the curve begins at a hundredth and the inflection tangent's
# lag is a quarter of the whole, a day of four; brewers' "6 to 24 hours" (common practice, no
# source) is 2.5 to 4.5, and half of the chilly starts wait longer.
LAG_TURNS = (4.5, 1.8)
LAG_TURNS_MIN = 0.7  # Why: a very active pitch shows no lag but still begins.
SKEW_SD = 0.4  # Why: no direction known: three worts in four end 0.6 to 1.6 times as sharply.
SHARE_MAX = 1.1  # Why: a dry beer's apparent extract lies below water's; beyond this none is.
SHARE_MIN = 0.02  # Why: below it there is no drop to speak of.
DRAWS_MAX = 4096  # Why: a Pi counts as far as this in half a second.


@dataclass(frozen=True, slots=True)
class Prior:
    """What is likely of one batch. Shares are apparent attenuation on °P; times warm hours."""

    original_plato: float
    attenuation: float
    attenuation_sd: float
    log_terminal_h: float
    log_terminal_sd: float

    def course(self, normals: Sequence[float]) -> Course:
        """The course of these four standard normals."""
        attenuation = self.attenuation + self.attenuation_sd * normals[0]
        attenuation = min(max(attenuation, SHARE_MIN), SHARE_MAX)
        terminal_h = exp(self.log_terminal_h + self.log_terminal_sd * normals[1])
        lag_turns = max(LAG_TURNS[0] + LAG_TURNS[1] * normals[2], LAG_TURNS_MIN)
        skew = exp(SKEW_SD * normals[3])
        rate = rate_for(terminal_h, lag_turns, skew, TERMINAL_SHARE)
        final_plato = self.original_plato * (1.0 - attenuation)
        return Course(self.original_plato, final_plato, rate, lag_turns, skew)


def prior_for(strain: Strain, original_sg: float, expected_final_sg: float | None = None) -> Prior:
    """The prior of a batch of this kind.

    Args:
        strain: its ranges of attenuation and of days at its usual temperature, each read as what
            80 % of batches keep to.
        original_sg: corrected, before fermentation.
        expected_final_sg: what the brewer expects; it moves the middle, not the width. None: the
            middle of the strain's range.
    """
    original_plato = plato_from_sg(original_sg)
    attenuation = strain.attenuation_usual
    if expected_final_sg is not None:
        attenuation = 1.0 - plato_from_sg(expected_final_sg) / original_plato
    strain_sd = (strain.attenuation_high - strain.attenuation_low) / 2.0 / EIGHTY
    days_low, days_high = strain.expected.days_low, strain.expected.days_high
    return Prior(
        original_plato=original_plato,
        attenuation=attenuation,
        attenuation_sd=hypot(strain_sd, WORT_SD),
        log_terminal_h=log(24.0 * sqrt(days_low * days_high)),
        log_terminal_sd=log(days_high / days_low) / 2.0 / EIGHTY,
    )


@cache
def normals(count: int, dimensions: int) -> tuple[tuple[float, ...], ...]:
    """So many points spread like independent standard normals, the same ones every time.

    An additive recurrence on the powers of the generalised golden ratio: quasi-random, so that a
    thousand of them cover four dimensions as ten thousand random ones would.
    """
    assert 0 < count <= DRAWS_MAX, count
    ratio = 2.0
    for _ in range(40):  # The root of x^(d+1) = x + 1.
        ratio = float((1.0 + ratio) ** (1.0 / (dimensions + 1)))
    steps = [ratio ** -(axis + 1) for axis in range(dimensions)]
    inverse = NormalDist().inv_cdf
    return tuple(
        tuple(inverse(min(max((0.5 + index * step) % 1.0, 1e-9), 1.0 - 1e-9)) for step in steps)
        for index in range(1, count + 1)
    )
