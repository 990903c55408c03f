"""Interlock rules: every reason for which a relay may be forbidden, one row each.

A row says what it forbids, when, whether it latches, and what to tell a person. Nothing else in the
project can say no; `interlocks.py` applies this table.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.decision.interlock_terms import (
    Circumstances,
    InterlockMemory,
    InterlockSettings,
    Rule,
)
from controller.decision.vocabulary import Finding, Permit, Relay

__all__ = ["RULES", "RULE_BY_CODE", "Circumstances", "InterlockMemory", "InterlockSettings", "Rule"]

# Why: beyond it no ferment is being held, whatever the cause.
ABOVE_TARGET_K_MAX = 3.0
# Why: a target this near the limit would trip it by the coast of the pad alone.
LIMIT_MARGIN_K = 1.0
PAD_TRIP_MARGIN_K = 5.0  # Why: the pad's own limit has already cut the heat; it went on rising.
# Why: the pad's stored heat and the beer's answer to the fan both take about half an hour, and
# heating against a fan costs energy and wear.
SEPARATION_S = 1800.0
SEPARATION_ERROR_K = 0.5  # Why: a real error is worth a change of direction.
HEAT_DWELL_S = 30.0  # Why: relay life; a contact switched more often wears out within a year.
FAN_DWELL_S = 60.0
MISMATCHES_MAX = 2  # Why: one read-back may fall into the switching itself.
GAP_S_MAX = 60.0  # Why: after a longer silence the past is not known, so this tick stays off.


def _found(finding: Finding) -> Callable[[Circumstances], bool]:
    return lambda c: finding in c.findings


def _beer_too_hot(c: Circumstances) -> bool:
    beer_c = c.evidence.beer.value_c
    return beer_c is not None and beer_c >= c.settings.beer_c_max


def _pad_above(margin_k: float) -> Callable[[Circumstances], bool]:
    def applies(c: Circumstances) -> bool:
        pad_c = c.evidence.pad.value_c
        return pad_c is not None and pad_c >= c.settings.pad_c_max + margin_k

    return applies


def _since(c: Circumstances, then_s: float) -> float:
    return c.now.mono_s - then_s


def _has_gap(c: Circumstances) -> bool:
    last_s = c.memory.last_mono_s
    return last_s is None or not 0.0 < c.now.mono_s - last_s <= GAP_S_MAX


_HEAT = (Relay.HEAT,)
_FAN = (Relay.FAN,)
_BOTH = (Relay.HEAT, Relay.FAN)

RULES: tuple[Rule, ...] = (
    Rule(
        "no-beer-reading",
        _BOTH,
        Permit.OFF,
        lambda c: c.evidence.beer.value_c is None,
        "The beer probe has given no trustworthy reading for a minute.",
        "See that the probe is plugged in and dry; heating resumes by itself after three readings.",
    ),
    Rule(
        "beer-too-hot",
        _HEAT,
        Permit.OFF,
        _beer_too_hot,
        "The beer has reached the highest temperature the settings allow.",
        "Unplug the pad and find out why it went on heating before you release this.",
        latches=True,
    ),
    Rule(
        "beer-above-target",
        _HEAT,
        Permit.OFF,
        lambda c: c.above_k > ABOVE_TARGET_K_MAX,
        "The beer is more than 3 K above its target.",
    ),
    Rule(
        "pad-too-hot",
        _HEAT,
        Permit.OFF,
        _pad_above(0.0),
        "The pad has reached its limit; heating pauses until it has cooled.",
        "Press the pad flat against the vessel: an air gap makes it run hot.",
    ),
    Rule(
        "pad-far-too-hot",
        _HEAT,
        Permit.OFF,
        _pad_above(PAD_TRIP_MARGIN_K),
        "The pad went on heating beyond its limit.",
        "Unplug it. Look for a fold, a gap or a welded relay, at the machine, before you release.",
        latches=True,
        at_machine=True,
    ),
    Rule(
        "no-pad-reading",
        _HEAT,
        Permit.OFF,
        lambda c: c.evidence.pad.fitted and c.evidence.pad.value_c is None,
        "The pad probe has given no trustworthy reading for a minute, so its limit is blind.",
        "See that the pad probe is plugged in, or take it out of the settings.",
    ),
    Rule(
        "heat-without-effect",
        _HEAT,
        Permit.OFF,
        _found(Finding.HEAT_WITHOUT_EFFECT),
        "The pad has been on, and the beer has not warmed as it must have.",
        "Look at the pad's plug, fuse and cut-out, at the relay, whether the probe is in place.",
        latches=True,
    ),
    Rule(
        "heat-while-off",
        _HEAT,
        Permit.OFF,
        _found(Finding.HEAT_WHILE_OFF),
        "The beer is warming faster than it can by itself while the pad is switched off.",
        "Unplug the pad now: its relay may be stuck on. Release this at the machine only.",
        latches=True,
        at_machine=True,
    ),
    Rule(
        "rise-too-fast",
        _HEAT,
        Permit.OFF,
        _found(Finding.RISE_TOO_FAST),
        "The beer is warming faster than this pad can warm this volume.",
        "Look whether the vessel is full, its volume in the settings right, the probe off the pad.",
        latches=True,
    ),
    Rule(
        "fall-too-fast",
        _HEAT,
        Permit.OFF,
        _found(Finding.FALL_TOO_FAST),
        "The beer probe is cooling faster than beer can: it is probably out of its well.",
        "Put the probe back into its well. After ten minutes of reading the beer heat resumes by "
        "itself; if it does not, look why, then release this.",
        latches=True,
    ),
    Rule(
        "pad-stays-cold",
        _HEAT,
        Permit.OFF,
        _found(Finding.PAD_STAYS_COLD),
        "The pad was switched on and its probe has not warmed.",
        "Look at the pad's plug, fuse and cut-out, at the relay, whether the probe is on the pad, "
        "and whether the beer's and the pad's probe are exchanged.",
        latches=True,
    ),
    Rule(
        "pad-stays-hot",
        _HEAT,
        Permit.OFF,
        _found(Finding.PAD_STAYS_HOT),
        "The pad was switched off and has not cooled.",
        "Unplug the pad now: its relay may be stuck on. Release this at the machine only.",
        latches=True,
        at_machine=True,
    ),
    Rule(
        "beer-on-pad",
        _HEAT,
        Permit.OFF,
        _found(Finding.BEER_ON_PAD),
        "The beer probe answers to the pad like the pad itself: it lies on it.",
        "Put the probe back into its well, or exchange its id with the pad's, then release this.",
        latches=True,
    ),
    Rule(
        "beer-leapt",
        _HEAT,
        Permit.OFF,
        _found(Finding.BEER_LEAPT),
        "The beer's reading has risen as no pad can warm it; heating pauses ten minutes to see "
        "whether it stays.",
    ),
    Rule(
        "beer-still",
        _HEAT,
        Permit.OFF,
        _found(Finding.BEER_STILL),
        "The beer's reading has not moved by one step for ten minutes, so heating pauses until it "
        "does.",
    ),
    Rule(
        "beer-frozen",
        _HEAT,
        Permit.OFF,
        _found(Finding.BEER_FROZEN),
        "The beer must have moved by three steps of its probe, and the reading has not by one.",
        "Unplug the beer probe and plug it in again, or replace it; if the reading lives, see "
        "whether the pad works. Then release this.",
        latches=True,
    ),
    Rule(
        "relay-disagrees",
        _BOTH,
        Permit.OFF,
        lambda c: c.memory.mismatches >= MISMATCHES_MAX,
        "A relay line does not follow the controller.",
        "Unplug the pad. Look for a second program on the pin, or a wrong pin in the settings.",
        latches=True,
        at_machine=True,
    ),
    Rule(
        "after-a-gap",
        _BOTH,
        Permit.OFF,
        _has_gap,
        "The controller was not running a moment ago, so this turn stays off.",
    ),
    Rule(
        "garage-not-colder",
        _FAN,
        Permit.OFF,
        lambda c: not c.memory.fan_gate_is_open,
        "The garage is not colder than the beer, so the fan would not cool.",
    ),
    Rule(
        "heat-lately",
        _FAN,
        Permit.OFF,
        lambda c: (
            # Why: a run under way is not cut when the error becomes small.
            _since(c, c.memory.fan_ran_s) > 0.0
            and _since(c, c.memory.heat_ran_s) < SEPARATION_S
            and c.above_k <= SEPARATION_ERROR_K
        ),
        "The pad was on within the last half hour.",
    ),
    Rule(
        "fan-lately",
        _HEAT,
        Permit.OFF,
        lambda c: (
            _since(c, c.memory.heat_ran_s) > 0.0
            and _since(c, c.memory.fan_ran_s) < SEPARATION_S
            and c.above_k >= -SEPARATION_ERROR_K
        ),
        "The fan was on within the last half hour.",
    ),
    Rule(
        "heat-dwell",
        _HEAT,
        Permit.HOLD,
        lambda c: _since(c, c.memory.heat_changed_s) < HEAT_DWELL_S,
        "The heat relay switched less than half a minute ago.",
    ),
    Rule(
        "fan-dwell",
        _FAN,
        Permit.HOLD,
        lambda c: _since(c, c.memory.fan_changed_s) < FAN_DWELL_S,
        "The fan relay switched less than a minute ago.",
    ),
)
RULE_BY_CODE = {rule.code: rule for rule in RULES}
