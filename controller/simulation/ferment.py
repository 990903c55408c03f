"""A simulated ferment: how fast the extract goes, and the heat that comes of it.

A logistic course whose rate depends on the beer's temperature. Pure, and only as true as a garage
needs: it must warm the beer and move the gravity, not describe a strain. Part of `garage.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

# Source: 252 BTU per lb of extract fermented, the usual brewing handbook figure.
HEAT_J_PER_KG = 586e3
# Source: Balling's relation as brewing handbooks give it: real drop over apparent drop.
REAL_PER_APPARENT = 0.8192
# Source: the customary fit of the sugar tables (common practice): SG = 1 + P/(258.6 - 0.87955 P).
_SG_DIVISOR, _SG_SLOPE = 258.6, 0.87955
_WATER_KG_PER_L = 0.9982  # Source: density of water at 20 °C (IAPWS).


@dataclass(frozen=True, slots=True)
class FermentSettings:
    """One batch and its yeast. The defaults are an assumed hot-fermenting kveik-style strain.

    Args:
        original_plato: extract before fermentation, °P; 0 is water, which does not ferment.
        final_plato: apparent extract at the end, °P.
        rate_per_h: logistic rate at the best temperature; 0.18 takes two days from 1 % to 99 %.
        coldest_c, best_c, hottest_c: the cardinal temperatures of the rate.
        first_share: share of the course done at pitching; smaller is a longer lag.
        pitch_after_h: hours from the start of the simulation to pitching.
    """

    original_plato: float = 12.5
    final_plato: float = 2.8
    rate_per_h: float = 0.18
    coldest_c: float = 5.0
    best_c: float = 37.5
    hottest_c: float = 45.0
    first_share: float = 0.01
    pitch_after_h: float = 0.0

    @property
    def drop_plato(self) -> float:
        """The apparent extract that will go, °P; none of what is thinner than its own end."""
        return max(0.0, self.original_plato - self.final_plato)


def rate_share(settings: FermentSettings, beer_c: float) -> float:
    """The rate at this temperature as a share of the rate at the best one, 0 to 1.

    Source: the cardinal temperature model with inflection of Rosso, Lobry and Flandrois,
    J. Theor. Biol. 162 (1993) 447-463.
    """
    low_c, best_c, high_c = settings.coldest_c, settings.best_c, settings.hottest_c
    if beer_c <= low_c or beer_c >= high_c:
        return 0.0
    above_k = beer_c - low_c
    span_k = best_c - low_c
    bottom = span_k * (beer_c - best_c) - (best_c - high_c) * (best_c + low_c - 2.0 * beer_c)
    return (beer_c - high_c) * above_k * above_k / (span_k * bottom)


def wort_kg(volume_l: float, plato: float) -> float:
    """The mass of a volume of wort at 20 °C."""
    return volume_l * _WATER_KG_PER_L * (1.0 + plato / (_SG_DIVISOR - _SG_SLOPE * plato))


class Ferment:
    """A ferment in progress. `share_done` runs from 0 at pitching towards 1."""

    __slots__ = ("_age_s", "_course", "_settings", "total_heat_j", "vigour")

    def __init__(self, settings: FermentSettings, volume_l: float) -> None:
        self._settings = settings
        self._course = settings.first_share
        self._age_s = 0.0
        self.vigour = 1.0  # a fault may slow the yeast
        drop = settings.drop_plato * REAL_PER_APPARENT / 100.0
        self.total_heat_j = wort_kg(volume_l, settings.original_plato) * drop * HEAT_J_PER_KG

    @property
    def share_done(self) -> float:
        """The share of the extract that will ferment and has, 0 to 1."""
        first = self._settings.first_share
        return (self._course - first) / (1.0 - first)

    @property
    def apparent_plato(self) -> float:
        """What a perfect hydrometer would show, °P."""
        settings = self._settings
        return settings.original_plato - self.share_done * settings.drop_plato

    def advance(self, dt_s: float, beer_c: float) -> float:
        """Ferment for `dt_s` seconds at this temperature; the heat released, in J."""
        settings = self._settings
        self._age_s += dt_s
        if not self.total_heat_j or self._age_s <= settings.pitch_after_h * 3600.0:
            return 0.0
        before = self._course
        rate_per_s = settings.rate_per_h / 3600.0 * self.vigour
        grown = before * exp(rate_per_s * rate_share(settings, beer_c) * dt_s)
        self._course = grown / (1.0 - before + grown)
        return self.total_heat_j * (self._course - before) / (1.0 - settings.first_share)
