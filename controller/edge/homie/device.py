"""What the chamber is as a Homie 5 device: its description, and its values after a tick. Pure.

Live state only: history, acknowledgements and orders stay in the project's own topics. A float of
Homie cannot be "not known", so a value that is not known is not published anew, and an alert says
why. Source: the Homie convention 5.0 (homieiot.github.io/specification).
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from controller import __version__
from controller.decision import alarm_rules, interlock_rules
from controller.order_kinds import KIND_BY_NAME
from controller.wire import Event, Line, Tick

HOMIE = "5.0"  # Source: Homie convention, $description, `homie`.
EMPTY = "\0"  # Source: Homie convention: a text of no letters is one byte 0x00.
TARGET_C_MIN = next(each.low for each in KIND_BY_NAME["hold"].arguments if each.name == "target_c")
TARGET_STEP_K = 0.1  # Why: no chamber is held more finely, and a slider needs a step.
PHASES = ("idle", "blind", "heating", "holding")


@dataclass(frozen=True, slots=True)
class Fitted:
    """What of the device this chamber has.

    Args:
        chamber: its name, which is the device's id too.
        probes: the roles of its probes: beer, garage, air, pad.
        has_fan: whether a fan is switched.
        target_c_max: the warmest target its own limits allow.
        is_settable: whether a hub may ask for a target.
    """

    chamber: str
    probes: tuple[str, ...]
    has_fan: bool
    target_c_max: float
    is_settable: bool


@dataclass(frozen=True, slots=True)
class Property:
    """One value of the device. `of` gives its text; None: not known now."""

    node: str
    id: str
    name: str
    datatype: str
    of: Callable[[Tick], str | None]
    unit: str = ""
    format: str = ""
    role: str = ""
    settable: bool = False


def _degrees(name: str) -> Callable[[Tick], str | None]:
    def of(tick: Tick) -> str | None:
        value = getattr(tick, name)
        return None if value is None else f"{value:.2f}"

    return of


def _truth(name: str) -> Callable[[Tick], str | None]:
    return lambda tick: "true" if getattr(tick, name) else "false"


PROPERTIES: tuple[Property, ...] = (
    Property("beer", "temperature", "Beer", "float", _degrees("beer_c"), "°C", role="beer"),
    Property("beer", "target", "Target", "float", _degrees("target_c"), "°C", settable=True),
    Property(
        "beer", "gravity", "Gravity as last told", "float",
        lambda tick: None if tick.gravity_sg is None else f"{tick.gravity_sg:.4f}",
        "SG",
    ),
    Property(
        "beer", "phase", "What the heat is doing", "enum",
        lambda tick: tick.phase if tick.phase in PHASES else None, format=",".join(PHASES),
    ),
    Property("beer", "batch", "Batch", "string", lambda tick: tick.batch or EMPTY),
    Property("beer", "step", "Step of the procedure", "string",
             lambda tick: tick.step_name or EMPTY),
    Property("chamber", "garage", "Garage", "float", _degrees("garage_c"), "°C", role="garage"),
    Property("chamber", "air", "Air in the chamber", "float", _degrees("air_c"), "°C", role="air"),
    Property("chamber", "pad", "Heat pad", "float", _degrees("pad_c"), "°C", role="pad"),
    Property("chamber", "heat", "Heat", "boolean", _truth("heat"), format="off,on"),
    Property("chamber", "fan", "Fan", "boolean", _truth("fan"), format="off,on", role="fan"),
    Property("chamber", "demand", "From full fan to full heat", "float",
             lambda tick: f"{tick.demand:.2f}", format="-1:1"),
    Property("chamber", "alarms", "Alarms that stand", "integer",
             lambda tick: str(len({*tick.alarms, *tick.trips})), format="0:"),
)  # fmt: skip
NODES = {"beer": "Beer", "chamber": "Chamber"}
# Every alert there can ever be; those that do not stand are cleared on each new connection.
ALERTS = (
    *(rule.code for rule in alarm_rules.RULES),
    *(rule.code for rule in interlock_rules.RULES),
    *(f"probe-{role}" for role in ("beer", "garage", "air", "pad")),
)


def properties(fitted: Fitted) -> tuple[Property, ...]:
    """The properties this chamber has."""
    roles = {"", *fitted.probes, *(("fan",) if fitted.has_fan else ())}
    return tuple(each for each in PROPERTIES if each.role in roles)


def description(fitted: Fitted) -> str:
    """The device's `$description`. Its version changes whenever anything else in it does."""
    nodes: dict[str, dict[str, Any]] = {}
    for each in properties(fitted):
        node = nodes.setdefault(each.node, {"name": NODES[each.node], "properties": {}})
        node["properties"][each.id] = _described(each, fitted)
    body = {
        "homie": HOMIE,
        "name": fitted.chamber,
        "type": f"barmkeep {__version__}",
        "nodes": nodes,
    }
    text = json.dumps(body, sort_keys=True, ensure_ascii=False)
    return json.dumps({**body, "version": zlib.crc32(text.encode())}, ensure_ascii=False)


def _described(each: Property, fitted: Fitted) -> dict[str, Any]:
    said: dict[str, Any] = {"name": each.name, "datatype": each.datatype}
    is_settable = each.settable and fitted.is_settable
    form = each.format
    if each.id == "target":
        form = f"{TARGET_C_MIN:g}:{fitted.target_c_max:g}" + (
            f":{TARGET_STEP_K:g}" if is_settable else ""
        )
    if form:
        said["format"] = form
    if each.unit:
        said["unit"] = each.unit
    if is_settable:
        said["settable"] = True
    return said


def values(fitted: Fitted, tick: Tick) -> dict[str, str]:
    """What is known after this tick, by `node/property`."""
    found = {f"{each.node}/{each.id}": each.of(tick) for each in properties(fitted)}
    return {name: text for name, text in found.items() if text is not None}


def alerts(tick: Tick, words: Mapping[str, str]) -> dict[str, str]:
    """The alerts that stand after this tick, by their id. `words` says what each code means."""
    standing = {code: words.get(code, code.replace("-", " ")) for code in tick.alarms}
    standing |= {code: words.get(code, code.replace("-", " ")) for code in tick.trips}
    for role, fault in tick.faults.items():
        standing[f"probe-{role}"] = f"The {role} probe cannot be trusted: {fault}."
    return {code: text for code, text in standing.items() if code in ALERTS}


def words_of(lines: tuple[Line, ...]) -> dict[str, str]:
    """What these events say of the codes they raise."""
    raised = ("raised", "tripped")
    return {
        each.code: f"{each.text} {each.remedy or ''}".strip()
        for each in lines
        if isinstance(each, Event) and each.state in raised
    }


def target_asked(payload: bytes, fitted: Fitted) -> float | None:
    """The target a hub asks for; None when it is no float of Homie within this chamber's limits."""
    text = payload[:40].decode("ascii", "replace")
    if not text or set(text) - set("0123456789.-eE"):
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    assert TARGET_C_MIN is not None
    return value if TARGET_C_MIN <= value <= fitted.target_c_max else None
