"""Pad cap: the most the pad may be asked for, so that it never reaches its limit.

Part of the regulator: a constraint that overrides, not a safety rule. It takes the demand back
smoothly as a pad probe nears the limit, so that the interlock behind it need not act. What a run
would add before it can be ended counts beforehand. A pad without a probe is not capped.
"""

from __future__ import annotations

# Source: a well-pressed pad at full power is 15 to 25 K warmer than the wort (series resistances of
# pad, gap and wall, computed); one that runs hotter is pressed badly.
ABOVE_K_MAX = 25.0
MARGIN_K = 1.0  # Why: the interlock acts at the limit, and must not have to.
BAND_K = (
    4.0  # Why: what a strong pad rises by in its shortest run, so that a run can end inside it.
)
AHEAD_S = 35.0  # Why: a probe taped to the pad is half a minute late; the shortest run is as long.


def pad_cap(pad_c: float | None, rise_k_per_s: float, setpoint_c: float, pad_c_max: float) -> float:
    """The most the pad may be asked for, 0 to 1.

    Args:
        pad_c: its temperature; None without a trusted reading.
        rise_k_per_s: how fast it rises when it is on, at least 0.
        setpoint_c: where the beer should be.
        pad_c_max: the temperature at which the interlocks stop it.
    """
    if pad_c is None:
        return 1.0
    limit_c = min(setpoint_c + ABOVE_K_MAX, pad_c_max - MARGIN_K)
    ahead_c = pad_c + rise_k_per_s * AHEAD_S
    return min(1.0, max(0.0, (limit_c - ahead_c) / BAND_K))
