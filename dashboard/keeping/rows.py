"""How a tick is laid down in the database, and read back.

Pure. A tick is split: what moves all the time becomes a short row of whole numbers, what changes
rarely becomes a state that many rows share. Left out, because the page shows it live and history
can be had without it: the monotonic time, the step's elapsed time, how long a hold or a shelved
alarm has left, the count of starts, the regulator's integral, and what was learned of the vessel
(of which the ferment's own watts are kept by the hour). Read back, those stand at nought or None.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any, TypeAlias

from controller.wire import Tick
from dashboard.keeping.rollup import celsius, stored

# Why: these change a few times a day at most; everything else of a tick moves all the time.
STATE_FIELDS: tuple[str, ...] = (
    "phase",
    "synced",
    "batch",
    "step",
    "step_name",
    "target_high_c",
    "heat_permit",
    "fan_permit",
    "faults",
    "offset_k",
    "vetoes",
    "trips",
    "alarms",
    "alarm_states",
    "first_out",
    "hold_c",
    "begun_by",
    "gravity_sg",
)
_USUAL = {each.name: each.default for each in fields(Tick) if each.default is not MISSING}

StateKey: TypeAlias = tuple[Any, ...]
# seq, utc_s, then beer, garage, target, pad and air as stored, then demand in thousandths
TickRow: TypeAlias = tuple[
    int, int, int | None, int | None, int | None, int | None, int | None, int
]


@dataclass(frozen=True, slots=True)
class State:
    """What many ticks of one boot have in common."""

    chamber: str
    boot: str
    heat: bool
    fan: bool
    body: Mapping[str, Any]


def state_key(tick: Tick) -> StateKey:
    """What tells two states of one boot apart; cheap, because it is asked for every tick."""
    return (
        tick.heat,
        tick.fan,
        tick.phase,
        tick.synced,
        tick.batch,
        tick.step,
        tick.step_name,
        tick.target_high_c,
        tick.heat_permit,
        tick.fan_permit,
        tuple(sorted(tick.faults.items())),
        tuple(sorted(tick.offset_k.items())),
        tick.vetoes,
        tick.trips,
        tick.alarms,
        tuple(sorted(tick.alarm_states.items())),
        tick.first_out,
        tick.hold_c,
        tick.begun_by,
        tick.gravity_sg,
    )


def state_body(tick: Tick) -> str:
    """The state's fields as JSON, without those that have their usual value."""
    body = {name: getattr(tick, name) for name in STATE_FIELDS}
    kept = {
        name: dict(value) if isinstance(value, Mapping) else value
        for name, value in body.items()
        if value not in (None, (), {}) and value != _USUAL.get(name)
    }
    return json.dumps(kept, separators=(",", ":"), sort_keys=True, ensure_ascii=False)


def tick_row(tick: Tick) -> TickRow:
    """The part of a tick that moves all the time."""
    return (
        tick.seq,
        round(tick.utc_s),
        stored(tick.beer_c),
        stored(tick.garage_c),
        stored(tick.target_c),
        stored(tick.pad_c),
        stored(tick.air_c),
        round(tick.demand * 1000),
    )


def tick_of(row: TickRow, state: State) -> Tick:
    """The tick that was laid down as this row with this state."""
    seq, utc_s, beer, garage, target, pad, air, demand = row
    body: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in state.body.items()
    }
    return Tick(
        chamber=state.chamber,
        boot=state.boot,
        seq=seq,
        utc_s=float(utc_s),
        mono_s=0.0,
        demand=demand / 1000,
        heat=state.heat,
        fan=state.fan,
        beer_c=celsius(beer),
        garage_c=celsius(garage),
        target_c=celsius(target),
        pad_c=celsius(pad),
        air_c=celsius(air),
        **body,
    )
