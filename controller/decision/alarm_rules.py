"""Alarm rules: everything a person must be told to act on, one row each.

A row says when its condition holds, with its deadband, how long before it counts, under which root
causes it stays quiet, and what to do. An alarm always asks for an action and only ever tells: what
must stop something is an interlock. `alarms.py` turns these conditions into states.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.decision.alarm_terms import (
    DELAY_S,
    AlarmRule,
    AlarmSettings,
    Situation,
    Strain,
)
from controller.decision.vocabulary import Finding, Priority, Sensed

__all__ = [
    "DELAY_S",
    "RULES",
    "RULE_BY_CODE",
    "AlarmRule",
    "AlarmSettings",
    "Situation",
    "Strain",
]

# Source: ISA-18.2 starting point for temperature (from memory): a deadband of 1 % of range.
DEADBAND_K = 0.3
FREEZING_C = 1.0  # Source: beer of 4 to 6 % freezes at -2 to -3 °C (common practice, no source).
COLD_TARGET_C = 4.0  # Why: whoever aims this low means to chill.
DRIFT_DELAY_S = 600.0  # Why: a lid lifted for a minute is not a drift.
REACH_DELAY_S = 600.0  # Why: a gust through the door is not a night.
REACH_CLEARED_W = 2.0  # Why: a pad that can just hold is given back with a thirtieth to spare.
HOLD_DELAY_S = 7200.0  # Why: as long as a hold that ends by itself may last at most.
CLOCK_DELAY_S = 3600.0  # Why: a router takes its time after a power cut.
# Source: ISA-18.2 and EEMUA 191 (from memory): a flood is more than 10 alarms in 10 min, and over
# below 5.
FLOOD_S = 600.0
FLOOD_BEGINS_ABOVE = 10
FLOOD_ENDS_BELOW = 5
STARTS_MAX = 80_000  # Source: 80 % of the 100 000 operations relay catalogues give (from memory).


def _lost(sensed: Sensed) -> bool:
    """Whether the newest reading is not trusted; after a minute of it nothing is left to go by."""
    return sensed.fitted and sensed.fault is not None


def _fault(sensed: Sensed) -> str:
    return f" ({sensed.fault.value})" if sensed.fault else ""


def _drift_k(situation: Situation, stands: bool) -> float:
    return situation.settings.drift_k - (DEADBAND_K if stands else 0.0)


def _drift_text(situation: Situation) -> str:
    beer_c = situation.evidence.beer.value_c
    assert beer_c is not None and situation.target is not None
    side = "above" if situation.above_k > 0.0 else "below"
    return (
        f"The beer is at {beer_c:.1f} °C, {abs(situation.above_k):.1f} K {side} its target of "
        f"{situation.target.nearest(beer_c):.1f} °C."
    )


def _reach_text(situation: Situation) -> str:
    """What the pad can do, and what would help: watts more, or watts per kelvin less."""
    reach = situation.strain.reach
    assert reach.spare_w is not None and reach.highest_c is not None
    help_w = f"It lacks {max(1.0, -reach.spare_w):.0f} W"
    return (
        "In a garage as cold as this the pad cannot hold the target: it can hold "
        f"{reach.highest_c:.1f} °C. {help_w}; or a jacket that loses less than "
        f"{reach.loss_w_per_k_max or 0.0:.2f} W/K would do."
    )


def _found(finding: Finding) -> Callable[[Situation, bool], bool]:
    return lambda situation, _: finding in situation.findings


def _near_freezing(situation: Situation, stands: bool) -> bool:
    """Near ice, where nobody wants it."""
    beer_c, target = situation.evidence.beer.value_c, situation.target
    is_wanted = target is not None and target.low_c <= COLD_TARGET_C
    limit_c = FREEZING_C + (DEADBAND_K if stands else 0.0)
    return beer_c is not None and not is_wanted and beer_c < limit_c


_EFFECTS = ("heat-falls-short", "fan-without-effect", "pad-loose")

RULES: tuple[AlarmRule, ...] = (
    AlarmRule(
        "beer-probe-lost",
        Priority.HIGH,
        lambda s, _: _lost(s.evidence.beer),
        lambda s: (
            f"No trustworthy beer temperature{_fault(s.evidence.beer)}: heat and fan are off."
        ),
        "See that the beer probe is plugged in, dry and in its well.",
    ),
    AlarmRule(
        "tripped",
        Priority.HIGH,
        lambda s, _: bool(s.strain.trips),
        lambda s: f"Stopped for safety: {', '.join(s.strain.trips)}.",
        "Find the cause and put it right, then release the trip.",
        on_delay_s=0.0,
        off_delay_s=0.0,
    ),
    AlarmRule(
        "pad-probe-lost",
        Priority.HIGH,
        lambda s, _: _lost(s.evidence.pad),
        lambda s: f"No trustworthy pad temperature{_fault(s.evidence.pad)}: the pad is off.",
        "See that the pad probe is plugged in, or take it out of the settings.",
    ),
    AlarmRule(
        "beer-near-freezing",
        Priority.HIGH,
        _near_freezing,
        lambda s: f"The beer is at {s.evidence.beer.value_c:.1f} °C and still falling towards ice.",
        "Bring the vessel into the warm now: a vessel that freezes bursts.",
        on_delay_s=0.0,
        below=("beer-probe-lost",),
    ),
    AlarmRule(
        "cannot-reach",
        Priority.MEDIUM,
        lambda s, stands: (
            s.strain.reach.spare_w is not None
            and s.strain.reach.spare_w < (REACH_CLEARED_W if stands else 0.0)
        ),
        _reach_text,
        "Add insulation or a stronger listed pad, warm the garage, or lower the target.",
        on_delay_s=REACH_DELAY_S,
        below=("beer-probe-lost", "tripped"),
    ),
    AlarmRule(
        "heat-falls-short",
        Priority.MEDIUM,
        _found(Finding.HEAT_FALLS_SHORT),
        lambda s: "The beer cools although the pad is on as much as has always been enough.",
        "See that the pad is plugged in, pressed flat and under a closed jacket.",
        on_delay_s=0.0,
        below=("beer-probe-lost", "tripped"),
    ),
    AlarmRule(
        "fan-without-effect",
        Priority.MEDIUM,
        _found(Finding.FAN_WITHOUT_EFFECT),
        lambda s: "The fan is on, the garage is colder, and the beer does not cool.",
        "See that the fan turns and that its air reaches the vessel.",
        on_delay_s=0.0,
        below=("beer-probe-lost", "tripped"),
    ),
    AlarmRule(
        "pad-loose",
        Priority.MEDIUM,
        _found(Finding.PAD_LOOSE),
        lambda s: "The pad runs much hotter above the beer than it used to.",
        "Unplug it and press it flat against the vessel: it has come off, or is folded.",
        on_delay_s=0.0,
        off_delay_s=DRIFT_DELAY_S,
        below=("pad-probe-lost", "tripped"),
    ),
    AlarmRule(
        "beer-drifting",
        Priority.MEDIUM,
        lambda s, stands: abs(s.above_k) > _drift_k(s, stands),
        _drift_text,
        "Too cold: see that the pad is plugged in, pressed flat and under a closed jacket. Too "
        "warm: open the jacket or move the vessel somewhere cooler. Either way, see that the probe "
        "is in its well.",
        on_delay_s=DRIFT_DELAY_S,
        below=("beer-probe-lost", "tripped", "cannot-reach", *_EFFECTS),
        is_expected=lambda s: s.strain.phase == "heating" or s.is_in_transition,
    ),
    AlarmRule(
        "late",
        Priority.MEDIUM,
        lambda s, _: s.strain.is_late,
        lambda s: "The beer should have reached its target by now." + f" {_drift_text(s)}",
        "See that the pad is plugged in, pressed flat and under the jacket.",
        below=("beer-probe-lost", "tripped", "cannot-reach", *_EFFECTS),
    ),
    AlarmRule(
        "journal-failing",
        Priority.MEDIUM,
        lambda s, _: not s.applied.journal_ok,
        lambda s: "The journal cannot be written; control goes on and readings wait in memory.",
        "See that the disk is not full and not read-only.",
    ),
    AlarmRule(
        "garage-probe-lost",
        Priority.LOW,
        lambda s, _: _lost(s.evidence.garage),
        lambda s: f"No trustworthy garage temperature{_fault(s.evidence.garage)}: the fan is off.",
        "See that the garage probe is plugged in.",
    ),
    AlarmRule(
        "clock-not-set",
        Priority.LOW,
        lambda s, _: not s.now.synced,
        lambda s: "The clock has not been set from the network, so dates may be wrong.",
        "See that the machine reaches a time server.",
        on_delay_s=CLOCK_DELAY_S,
    ),
    AlarmRule(
        "relay-worn",
        Priority.LOW,
        lambda s, _: max(s.applied.heat_starts, s.applied.fan_starts) >= STARTS_MAX,
        lambda s: "A relay has switched as often as its kind usually lasts.",
        "Replace the relay before the next batch.",
    ),
    AlarmRule(
        "hold-left-on",
        Priority.LOW,
        lambda s, _: s.strain.is_held,
        lambda s: "An order has held a temperature for two hours, and the procedure waits.",
        "Resume the procedure, or acknowledge this if you mean it.",
        on_delay_s=HOLD_DELAY_S,
        off_delay_s=0.0,
    ),
    AlarmRule(
        "alarm-flood",
        Priority.HIGH,
        lambda s, stands: (
            s.raised_lately >= FLOOD_ENDS_BELOW if stands else s.raised_lately > FLOOD_BEGINS_ABOVE
        ),
        lambda s: f"{s.raised_lately} alarms came within ten minutes; one cause is likely.",
        "Begin with the alarm that came first.",
        on_delay_s=0.0,
        off_delay_s=0.0,
    ),
)
RULE_BY_CODE = {rule.code: rule for rule in RULES}
