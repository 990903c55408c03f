"""The messages of the published language, as values. `wire.py` encodes, decodes and names topics.

Units end the names. A field with a default may be left out of a line. Part of the published
language; the standard library only. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class PresenceState(StrEnum):
    """What a controller last said of itself; `LOST` is said by the broker, as its last will."""

    PRESENT = "present"
    STOPPED = "stopped"
    LOST = "lost"


class EventState(StrEnum):
    """What happened to the thing an event names."""

    RAISED = "raised"
    CLEARED = "cleared"
    ACKNOWLEDGED = "acknowledged"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    TRIPPED = "tripped"
    RELEASED = "released"
    BEGUN = "begun"
    CHANGED = "changed"
    ENDED = "ended"
    TAKEN = "taken"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Tick:
    """One turn of the loop: what was felt, wanted, allowed and done.

    Temperatures are calibrated readings in °C, None when not trusted (then `faults` says why, by
    role). `demand` is -1 (full fan) to +1 (full heat). `heat` and `fan` are the relays as read
    back after switching. `target_high_c` is set while the beer may rise freely up to it. `step`
    counts from 1. `trips` are latched interlocks, `vetoes` every interlock that forbids something
    now.

    `alarms` are the alarms that stand and are not shelved; `alarm_states` gives every alarm that is
    not normal its ISA-18.2 state, `first_out` names the one that came first, and `shelved_left_s`
    says how long a shelved one stays quiet. `hold_c` is set while an order holds a temperature, for
    `hold_left_s` more (None: until resumed). `begun_by` is the order by which the batch was begun
    or ended, None for the batch of the settings; `gravity_sg` the newest gravity it was told.

    `vessel` is what the settings say of it ("20 L, 60 W, good"), and the next eight what has been
    learned of it, `_sd` being standard deviations: its loss, the pad's real watts, how late they
    show, the ferment's own heat (None when it cannot be told), and from how many hours. Then what
    the pad alone can do: hold the target in a garage of `reach_garage_c`, hold the beer at
    `reach_beer_c` in the coldest garage of the last day, and reach the target in `hours_to_target`
    (0: it is there; None: never, or not known).
    """

    chamber: str
    boot: str
    seq: int
    utc_s: float
    mono_s: float
    synced: bool
    phase: str
    demand: float
    heat: bool
    fan: bool
    beer_c: float | None = None
    garage_c: float | None = None
    air_c: float | None = None
    pad_c: float | None = None
    faults: Mapping[str, str] = field(default_factory=dict)
    offset_k: Mapping[str, float] = field(default_factory=dict)
    target_c: float | None = None
    target_high_c: float | None = None
    batch: str | None = None
    step: int | None = None
    step_name: str | None = None
    step_elapsed_s: float | None = None
    heat_permit: str = "free"
    fan_permit: str = "free"
    vetoes: tuple[str, ...] = ()
    trips: tuple[str, ...] = ()
    alarms: tuple[str, ...] = ()
    heat_starts: int = 0
    fan_starts: int = 0
    integral: float = 0.0
    alarm_states: Mapping[str, str] = field(default_factory=dict)
    first_out: str | None = None
    shelved_left_s: Mapping[str, float] = field(default_factory=dict)
    hold_c: float | None = None
    hold_left_s: float | None = None
    begun_by: str | None = None
    gravity_sg: float | None = None
    vessel: str | None = None
    loss_w_per_k: float | None = None
    loss_w_per_k_sd: float | None = None
    pad_learned_w: float | None = None
    pad_learned_w_sd: float | None = None
    delay_s: float | None = None
    ferment_w: float | None = None
    ferment_w_sd: float | None = None
    learned_h: float | None = None
    reach_garage_c: float | None = None
    reach_beer_c: float | None = None
    hours_to_target: float | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """A transition, dated by when it became true. `priority` is set for alarms and trips: high,
    medium or low. `order` is the order that caused it, if one did.
    """

    chamber: str
    boot: str
    seq: int
    utc_s: float
    mono_s: float
    synced: bool
    code: str
    state: str
    text: str
    remedy: str | None = None
    priority: str | None = None
    batch: str | None = None
    step: int | None = None
    order: str | None = None


@dataclass(frozen=True, slots=True)
class Presence:
    """Whether the controller is there. Retained; the broker says `lost` for it when it vanishes."""

    chamber: str
    boot: str
    state: str
    utc_s: float
    software: str
    tick_s: float


@dataclass(frozen=True, slots=True)
class Stored:
    """Said by the dashboard: of this boot, every line up to and including `through` is committed
    (0: none).
    """

    chamber: str
    boot: str
    through: int


@dataclass(frozen=True, slots=True)
class Order:
    """Something a chamber is asked to do: a row of `order_kinds.ORDER_KINDS` with its arguments.

    `id` is never used twice. `utc_s` is when it was issued; after `ttl_s` it is refused. What an
    argument means and how it is bounded stands in the table.
    """

    chamber: str
    id: str
    issuer: str
    utc_s: float
    ttl_s: float
    kind: str
    batch: str | None = None
    procedure: str | None = None
    pitched_utc_s: float | None = None
    target_c: float | None = None
    for_s: float | None = None
    gravity_sg: float | None = None
    age_s: float | None = None
    code: str | None = None


@dataclass(frozen=True, slots=True)
class Reply:
    """What became of an order: taken, or refused and why. The same id always gets the same one."""

    chamber: str
    id: str
    taken: bool
    reason: str
    utc_s: float
