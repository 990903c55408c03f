"""Calibration: what is added to a probe's raw reading, from one known temperature or two.

It only computes; where the points come from is `ice_point.py`'s and the brewer's business.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Calibration:
    """A straight line through one point (an offset) or two (an offset in ice water, and a scale).

    The scale is such that a probe corrected in ice water is also right at the second point.
    """

    offset_k: float = 0.0
    scale: float = 1.0

    def corrected(self, raw_c: float) -> float:
        """The temperature for what the probe says."""
        return (raw_c + self.offset_k) * self.scale

    def added_k(self, value_c: float | None) -> float:
        """What was added to get this corrected value; the ice-water offset when there is none."""
        if value_c is None or self.scale == 1.0:
            return self.offset_k
        return value_c - (value_c / self.scale - self.offset_k)
