"""A simulation's score for people, or as one JSON object. It decides nothing."""

from __future__ import annotations

import json
from collections.abc import Mapping

# One row a figure: its name in the score, what a person calls it, its unit, factor and decimals.
ROWS: tuple[tuple[str, str, str, float, int], ...] = (
    ("warmup_h", "warm-up", "h", 1.0, 1),
    ("within_03k", "within 0.3 K after arrival", "%", 100.0, 1),
    ("rmse_k", "root mean square error", "K", 1.0, 3),
    ("overshoot_k", "highest above target", "K", 1.0, 2),
    ("edges_per_h", "relay switchings per hour", "", 1.0, 1),
    ("energy_kwh", "energy", "kWh", 1.0, 2),
    ("heat_and_fan_together_s", "heat and fan together", "s", 1.0, 0),
    ("alarms", "alarms raised", "", 1.0, 0),
    ("ticks", "ticks", "", 1.0, 0),
    ("can_hold", "the profile can be held", "", 1.0, 0),
    ("can_hold_at_worst", "at the worst likely loss", "", 1.0, 0),
    ("not_held_h", "not held for", "h", 1.0, 1),
    ("not_held_at_worst_h", "not held for, at the worst", "h", 1.0, 1),
    ("lowest_below_k", "lowest below target", "K", 1.0, 1),
    ("energy_at_worst_kwh", "energy, at the worst", "kWh", 1.0, 2),
    ("wall_s", "took", "s", 1.0, 1),
)


def told(score: Mapping[str, float | int | None], as_json: bool) -> str:
    """The score as text; what never happened is null in JSON and "never" for people."""
    if as_json:
        return json.dumps(dict(score))
    lines = []
    for key, name, unit, factor, decimals in ROWS:
        if key not in score:
            continue
        value = score[key]
        if value is None or isinstance(value, bool):
            shown = {None: "never", True: "yes", False: "no"}[value]
        else:
            shown = f"{factor * value:.{decimals}f} {unit}".rstrip()
        lines.append(f"{name:>28}  {shown}")
    return "\n".join(lines)
