"""What a chamber was asked to do and what became of it, in words; and what may be asked of it now.

Pure: from the orders that were given, their answers and the newest tick to sentences and choices.
Whether an order is taken is for the controller to say; only what it would refuse for certain is not
offered, and what only somebody at the machine may do is said.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from controller.wire import Order, Tick
from dashboard.facts import Given
from dashboard.sheet import words
from dashboard.sheet.seen import Seen
from dashboard.sheet.troubles import HELD, Trouble
from dashboard.sheet.units import Units

RECENT_S = 600.0  # Why: what was asked longer ago stands among what happened.
LINES_MAX = 4  # Why: more would push the curve off a phone.
# Why: these say that something may be stuck on, so somebody must look at it before heat comes back.
AT_MACHINE = frozenset({"pad-far-too-hot", "heat-while-off", "pad-stays-hot", "relay-disagrees"})
SHELF_HOURS = (1, 8, 24)  # Why: a task, a night, and the longest there is.


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One order as a line: what was asked, and `fate`: taken, refused, waiting or lost."""

    utc_s: float
    what: str
    fate: str
    reason: str


@dataclass(frozen=True, slots=True)
class Choices:
    """What may be asked about one trouble.

    Args:
        acknowledge: the alarm to acknowledge; empty: none, or it has been.
        is_seen: somebody has acknowledged it.
        came_first: of several, it came first.
        shelve: the alarm that may be kept quiet for a while; empty: none.
        release: the trip that may be released from here; empty: none.
        at_machine: the trip that may be released only at the machine; empty: none.
    """

    acknowledge: str = ""
    is_seen: bool = False
    came_first: bool = False
    shelve: str = ""
    release: str = ""
    at_machine: str = ""


@dataclass(frozen=True, slots=True)
class Asking:
    """Everything about orders that a chamber's page shows.

    Args:
        lines: what was asked lately, the newest first.
        choices: what may be asked, by the code of a trouble.
        over: alarms that are over and that nobody has seen, by code and name.
        quiet: alarms kept quiet: code, name, and until when in UTC seconds (None: not known).
        held: a sentence while an order holds a temperature; else empty.
        has_procedure: whether a procedure is followed that has a next step.
    """

    lines: tuple[AskedLine, ...] = ()
    choices: Mapping[str, Choices] = field(default_factory=dict)
    over: tuple[tuple[str, str], ...] = ()
    quiet: tuple[tuple[str, str, float | None], ...] = ()
    held: str = ""
    has_procedure: bool = False


def asking(seen: Seen, given: Sequence[Given], troubles: Sequence[Trouble], units: Units) -> Asking:
    """What the page shows of orders for this chamber now."""
    lines = tuple(
        _line(each, seen.clock_utc_s, units)
        for each in given
        if seen.clock_utc_s - each.order.utc_s <= RECENT_S
    )[:LINES_MAX]
    tick = seen.tick
    if tick is None or not seen.is_live:
        return Asking(lines)
    return Asking(
        lines,
        {each.code: _choices(tick, each, len(troubles)) for each in troubles},
        tuple((code, _name(code)) for code, state in tick.alarm_states.items() if state == "rtnun"),
        tuple(
            (code, _name(code), _until(tick, tick.shelved_left_s.get(code)))
            for code, state in tick.alarm_states.items()
            if state == "shlvd"
        ),
        _held(tick, seen, units),
        tick.step is not None,
    )


def _choices(tick: Tick, trouble: Trouble, count: int) -> Choices:
    is_trip = trouble.code in tick.trips
    alarm = "tripped" if is_trip else trouble.code
    state = tick.alarm_states.get(alarm)
    is_standing = state in ("unack", "acked")
    return Choices(
        acknowledge=alarm if state == "unack" else "",
        is_seen=state == "acked",
        came_first=count > 1 and is_standing and tick.first_out == alarm,
        shelve=alarm if is_standing and trouble.priority != "high" else "",
        release=trouble.code if is_trip and trouble.code not in AT_MACHINE else "",
        at_machine=trouble.code if is_trip and trouble.code in AT_MACHINE else "",
    )


def _held(tick: Tick, seen: Seen, units: Units) -> str:
    if tick.hold_c is None:
        return ""
    until = "until somebody resumes"
    if tick.hold_left_s is not None:
        over_utc_s = tick.utc_s + tick.hold_left_s
        until = f"until {words.moment(over_utc_s, seen.now_utc_s, units.zone)}"
    waits = "" if tick.step is None else "; the procedure waits"
    return f"Held at {words.temperature(tick.hold_c, units)} by an order {until}{waits}."


def _until(tick: Tick, left_s: float | None) -> float | None:
    return None if left_s is None else tick.utc_s + left_s


def _name(code: str) -> str:
    return HELD[code].reason if code in HELD else code.replace("-", " ")


def _line(given: Given, clock_utc_s: float, units: Units) -> AskedLine:
    order, reply = given.order, given.reply
    what = WORDS[order.kind](order, units) if order.kind in WORDS else order.kind
    if reply is not None:
        fate = "taken" if reply.taken else "refused"
        return AskedLine(order.utc_s, what, fate, units.reweighed(reply.reason))
    if clock_utc_s - order.utc_s <= order.ttl_s:
        return AskedLine(order.utc_s, what, "waiting", "No answer yet.")
    why = "No answer came, so nothing was done. See that the controller is heard, then ask again."
    return AskedLine(order.utc_s, what, "lost", why)


def _hold_words(order: Order, units: Units) -> str:
    until = "until resumed" if order.for_s is None else f"for {order.for_s / 60.0:.0f} min"
    return f"Hold {words.temperature(order.target_c, units)} {until}"


def _of_code(verb: str) -> Callable[[Order, Units], str]:
    return lambda order, _: f"{verb}: {_name(order.code or 'every alarm')}"


WORDS: Mapping[str, Callable[[Order, Units], str]] = {
    "begin": lambda order, _: f"Begin {order.batch}",
    "end": lambda order, _: "End the batch",
    "hold": _hold_words,
    "resume": lambda order, _: "Resume the procedure",
    "next": lambda order, _: "Go on to the next step",
    "gravity": lambda order, units: f"Take note of {units.gravity_text(order.gravity_sg or 0.0)}",
    "acknowledge": _of_code("Seen"),
    "shelve": _of_code("Keep quiet"),
    "unshelve": _of_code("Let speak again"),
    "release": _of_code("Release"),
}
