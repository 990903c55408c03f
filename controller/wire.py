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
from dataclasses import dataclass, fields
from typing import Any, TypeAlias, cast

from controller.wire_messages import (
    Event,
    EventState,
    Order,
    Presence,
    PresenceState,
    Reply,
    Stored,
    Tick,
)
from controller.wire_values import READER_OF_TYPE, no_constant, refused, rounded

__all__ = [
    "CHAMBER_NAME",
    "LINE_BYTES_MAX",
    "TOPICS",
    "TOPIC_ROOT",
    "VERSION",
    "Event",
    "EventState",
    "Line",
    "Message",
    "Order",
    "Presence",
    "PresenceState",
    "Reply",
    "Stored",
    "Tick",
    "TopicRule",
    "decode",
    "encode",
    "rule_of",
    "topic",
]

VERSION = 1  # Why: rises only when an old reader would misread a new line.
LINE_BYTES_MAX = 16_384  # Why: a tick is under 1 kB; a longer line is hostile or broken.
TOPIC_ROOT = "barmkeep"
CHAMBER_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,30}[a-z0-9])?")  # Why: also a legal Homie 5 id.


Message: TypeAlias = Tick | Event | Presence | Stored | Order | Reply
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
    TopicRule("order", Order, "dashboard", 1, False, "what the chamber is asked to do; it expires"),
    TopicRule("reply", Reply, "controller", 1, False, "an order taken, or refused and why"),
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


_MAY_BE_EMPTY = (tuple, dict)
# Why: made once; `json.dumps` with arguments makes an encoder anew for every line.
_WRITTEN = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode


def encode(message: Message) -> str:
    """One line of compact JSON, without a line end. Empty values are left out.

    Raises:
        ValueError: a number is not finite.
    """
    body: dict[str, Any] = {"v": VERSION, "is": _RULE_BY_TYPE[type(message)].name}
    for name in _FIELDS[type(message)]:
        value = getattr(message, name)
        if value is None or (value.__class__ in _MAY_BE_EMPTY and not value):
            continue
        body[name] = rounded(value)
    return _WRITTEN(body)


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
