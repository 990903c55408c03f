"""Thinning: what is kept of all the ticks of one minute, ten minutes or hour.

Pure. Only figures that add up are kept (counts, sums, least, greatest), as whole thousandths, so a
late tick is merged in exactly and the order of arrival never matters.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from dashboard.facts import Bucket

# Why: 20 °C stands in the middle of what two bytes of thousandths hold (-12.7 to +52.7 °C).
STORED_ZERO_C = 20.0

# Why: with a thousand points at most to a curve, these three serve anything from a day to decades.
TABLES: tuple[tuple[str, int], ...] = (("minutes", 60), ("tens", 600), ("hours", 3600))


def stored(value_c: float | None) -> int | None:
    """A temperature as it is stored: thousandths of a kelvin above 20 °C."""
    return None if value_c is None else round((value_c - STORED_ZERO_C) * 1000)


def celsius(value: float | None) -> float | None:
    """The temperature, in °C, of a stored value or of a mean of stored values."""
    return None if value is None else round(value / 1000 + STORED_ZERO_C, 4)


@dataclass(slots=True)
class Sums:
    """The additive figures of a stretch of time. Temperatures as stored, relays in ticks."""

    ticks: int = 0
    heat: int = 0
    fan: int = 0
    beer_count: int = 0
    beer_sum: int = 0
    beer_low: int | None = None
    beer_high: int | None = None
    garage_count: int = 0
    garage_sum: int = 0
    target_count: int = 0
    target_sum: int = 0

    def take(
        self, beer: int | None, garage: int | None, target: int | None, heat: bool, fan: bool
    ) -> None:
        """Add one tick."""
        self.ticks += 1
        self.heat += heat
        self.fan += fan
        if beer is not None:
            self.beer_count += 1
            self.beer_sum += beer
            self.beer_low = beer if self.beer_low is None else min(beer, self.beer_low)
            self.beer_high = beer if self.beer_high is None else max(beer, self.beer_high)
        if garage is not None:
            self.garage_count += 1
            self.garage_sum += garage
        if target is not None:
            self.target_count += 1
            self.target_sum += target

    def merge(self, other: Sums) -> None:
        """Add another stretch."""
        for name in _ADDED:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.beer_low = _either(min, self.beer_low, other.beer_low)
        self.beer_high = _either(max, self.beer_high, other.beer_high)

    def row(self) -> tuple[int | None, ...]:
        """The figures in the order of the rollup tables' columns."""
        return tuple(getattr(self, name) for name in COLUMNS)

    def bucket(self, start_utc_s: float) -> Bucket:
        """The same for a curve. There must be a tick."""
        return Bucket(
            start_utc_s=start_utc_s,
            beer_low_c=celsius(self.beer_low),
            beer_mean_c=_mean_c(self.beer_sum, self.beer_count),
            beer_high_c=celsius(self.beer_high),
            garage_mean_c=_mean_c(self.garage_sum, self.garage_count),
            target_c=_mean_c(self.target_sum, self.target_count),
            heat_share=self.heat / self.ticks,
            fan_share=self.fan / self.ticks,
        )


COLUMNS: tuple[str, ...] = tuple(Sums.__dataclass_fields__)
_ADDED = tuple(name for name in COLUMNS if name not in ("beer_low", "beer_high"))


def _either(choose: Callable[[int, int], int], one: int | None, other: int | None) -> int | None:
    if one is None or other is None:
        return other if one is None else one
    return choose(one, other)


def _mean_c(total: int, count: int) -> float | None:
    return celsius(total / count) if count else None


def thinned(rows: Iterable[tuple[int, Sums]], step_s: int) -> dict[int, Sums]:
    """Stretches by their start, merged into stretches of `step_s` seconds."""
    found: dict[int, Sums] = {}
    for start_s, sums in rows:
        found.setdefault(start_s - start_s % step_s, Sums()).merge(sums)
    return found
