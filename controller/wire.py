"""The published language: what a chamber says, what it is told, and on which topics.

One message is one line of JSON. The same line is a journal entry, an MQTT payload, a test fixture
and an import file. Units end the names. A key whose value is None or empty is left out; readers
ignore keys they do not know, so a newer sender never breaks an older reader. This module needs the
standard library only, and decides nothing.

Identity: (chamber, boot, seq). `boot` names one start of one controller and `seq` counts its
journalled lines from 1, so a line that was published but lost from the disk in a power cut can
never be mistaken for another one.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any, TypeAlias, cast

from controller.wire_values import READER_OF_TYPE, no_constant, refused, rounded

VERSION = 1  # Why: rises only when an old reader would misread a new line.
LINE_BYTES_MAX = 16_384  # Why: a tick is under 1 kB; a longer line is hostile or broken.
TOPIC_ROOT = "barmkeep"
CHAMBER_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,30}[a-z0-9])?")  # Why: also a legal Homie 5 id.


class PresenceState(StrEnum):
    """What a controller last said of itself; `LOST` is said by the broker, as its last will."""

    PRESENT = "present"
    STOPPED = "stopped"
    LOST = "lost"


class EventState(StrEnum):
    """What happened to the thing an event names."""

    RAISED = "raised"
    CLEARED = "cleared"
    TRIPPED = "tripped"
    RELEASED = "released"
    BEGUN = "begun"
    CHANGED = "changed"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class Tick:
    """One turn of the loop: what was felt, wanted, allowed and done.

    Temperatures are calibrated readings in °C, None when not trusted (then `faults` says why, by
    role). `demand` is -1 (full fan) to +1 (full heat). `heat` and `fan` are the relays as read
    back after switching. `target_high_c` is set while the beer may rise freely up to it. `step`
    counts from 1. `trips` are latched interlocks, `vetoes` every interlock that forbids something
    now.
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


@dataclass(frozen=True, slots=True)
class Event:
    """A transition, dated by when it became true. `priority` is set for alarms and trips: high,
    medium or low.
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


Message: TypeAlias = Tick | Event | Presence | Stored
Line: TypeAlias = Tick | Event  # what the journal holds and counts


@dataclass(frozen=True, slots=True)
class TopicRule:
    """One row of the topic table: `barmkeep/<chamber>/<name>`."""

    name: str
    message: type[Any]
    sender: str
    qos: int
    retained: bool
    meaning: str


TOPICS: tuple[TopicRule, ...] = (
    TopicRule(
        "tick", Tick, "controller", 1, True, "the newest tick is retained; older ones catch up"
    ),
    TopicRule(
        "event", Event, "controller", 1, False, "transitions only, each dated by when it was true"
    ),
    TopicRule("presence", Presence, "controller", 1, True, "present, stopped, or lost (last will)"),
    TopicRule(
        "stored", Stored, "dashboard", 1, False, "how far the dashboard has committed a boot"
    ),
)
_RULE_BY_NAME = {rule.name: rule for rule in TOPICS}
_RULE_BY_TYPE = {rule.message: rule for rule in TOPICS}


def topic(chamber: str, message: type[Any]) -> str:
    """The topic on which this kind of message of this chamber travels. `chamber` may be `+` to
    subscribe to all.
    """
    return f"{TOPIC_ROOT}/{chamber}/{_RULE_BY_TYPE[message].name}"


def rule_of(message: type[Any]) -> TopicRule:
    """The row of the topic table for this kind of message."""
    return _RULE_BY_TYPE[message]


def encode(message: Message) -> str:
    """One line of compact JSON, without a line end. Empty values are left out.

    Raises:
        ValueError: a number is not finite.
    """
    body: dict[str, Any] = {"v": VERSION, "is": _RULE_BY_TYPE[type(message)].name}
    for name in _FIELDS[type(message)]:
        value = getattr(message, name)
        if value is None or value == () or value == {}:
            continue
        body[name] = rounded(value)
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def decode(line: str | bytes) -> Message:
    """The message in one line.

    Raises:
        WireError: too long, not JSON, of another version, or a field is missing or of the wrong
            kind. It names the field.
    """
    body = _object_in(line)
    rule = _RULE_BY_NAME.get(body.get("is")) if isinstance(body.get("is"), str) else None  # type: ignore[arg-type]
    if rule is None:
        raise refused(f"'is' is {body.get('is')!r}, which is no message we know.")
    values = {
        name: read(name, body[name])
        for name, read in _READERS[rule.message].items()
        if name in body
    }
    missing = [name for name in _REQUIRED[rule.message] if name not in values]
    if missing:
        raise refused(f"a {rule.name} without {', '.join(missing)}.")
    if not CHAMBER_NAME.fullmatch(values["chamber"]):
        raise refused(f"the chamber name {values['chamber'][:40]!r} is not one.")
    return cast(Message, rule.message(**values))


def _object_in(line: str | bytes) -> dict[str, Any]:
    if len(line) > LINE_BYTES_MAX:
        raise refused(f"{len(line)} bytes, over the limit of {LINE_BYTES_MAX}.")
    try:
        body = json.loads(line, parse_constant=no_constant)
    except (ValueError, RecursionError) as error:
        raise refused(f"it is not JSON ({error}).") from error
    if not isinstance(body, dict):
        raise refused("it is not a JSON object.")
    if body.get("v") != VERSION:
        raise refused(f"version {body.get('v')!r}; this program reads version {VERSION}.")
    return body


_FIELDS = {rule.message: tuple(each.name for each in fields(rule.message)) for rule in TOPICS}
_READERS = {
    rule.message: {each.name: READER_OF_TYPE[str(each.type)] for each in fields(rule.message)}
    for rule in TOPICS
}
_REQUIRED = {
    rule.message: tuple(
        each.name
        for each in fields(rule.message)
        if each.default
        is each.default_factory  # Why: both are MISSING only when there is no default at all.
    )
    for rule in TOPICS
}
