"""What is wrong with a chamber, in plain words, each with what to do about it.

A trouble that the controller told as an event keeps the controller's own text and remedy. What only
stands in a tick (an interlock that forbids without latching, a probe that is not trusted) gets its
words from the tables here. Interlocks of every day (a relay's rest, a warm garage) are no trouble
and are left out. Ordered by priority; decides nothing about the chamber.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

from controller.wire import Event, EventState, Tick
from dashboard.sheet.seen import Seen
from dashboard.sheet.units import Units

_ON = {EventState.RAISED, EventState.TRIPPED}
_OFF = {
    EventState.CLEARED,
    EventState.RELEASED,
    EventState.SHELVED,
    EventState.UNSHELVED,
    EventState.SUPPRESSED,
}
_RANKS = ("high", "medium", "low")  # Source: ISA-18.2 asks for a few priorities; these are its own.


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that is wrong. `priority` is high, medium or low; `since_utc_s` may be unknown."""

    code: str
    priority: str
    text: str
    remedy: str
    since_utc_s: float | None = None

    @property
    def urgency(self) -> str:
        """The priority as words for a person."""
        return {"high": "Now", "medium": "Soon"}.get(self.priority, "When you can")


@dataclass(frozen=True, slots=True)
class Held:
    """Words for an interlock. `reason` completes "Heat is held off: …"; no `text`: no trouble."""

    reason: str
    text: str = ""
    remedy: str = ""
    priority: str = "medium"


HELD: dict[str, Held] = {
    "no-beer-reading": Held(
        "the beer cannot be read",
        "The beer probe gives no reading that can be trusted, so heat and fan stay off.",
        "See that the probe is plugged in and dry. It resumes by itself.",
        "high",
    ),
    "no-pad-reading": Held(
        "the pad cannot be read",
        "The pad probe gives no reading that can be trusted, so heat stays off.",
        "See that the pad’s probe is plugged in and still under the jacket.",
        "high",
    ),
    "beer-too-hot": Held("the beer got too hot"),
    "pad-far-too-hot": Held("the pad went on heating beyond its limit"),
    "heat-without-effect": Held("the pad was on and the beer did not warm"),
    "heat-while-off": Held("the beer warmed while the pad was off"),
    "rise-too-fast": Held("the beer warmed faster than this pad can warm it"),
    "fall-too-fast": Held("the beer probe seems to be out of its well"),
    "pad-stays-cold": Held("the pad was on and its probe did not warm"),
    "pad-stays-hot": Held("the pad was off and did not cool"),
    "beer-on-pad": Held("the beer probe seems to lie on the pad"),
    "beer-leapt": Held("the beer’s reading has just leapt, and may fall back"),
    "beer-still": Held("the beer’s reading stands still, and must show that it lives"),
    "beer-frozen": Held("the beer’s reading is frozen"),
    "relay-disagrees": Held("a relay does not follow the controller"),
    "pad-too-hot": Held(
        "the pad is at its limit",
        "The pad is at its limit, so heating pauses until it has cooled.",
        "If this goes on, press the pad flat against the vessel; an air gap makes it run hot.",
        "low",
    ),
    "beer-above-target": Held("the beer is well above its target"),
    "after-a-gap": Held("the controller has just started"),
    "garage-not-colder": Held("the garage is not colder than the beer"),
    "heat-lately": Held("the pad was on within the last half hour"),
    "fan-lately": Held("the fan was on within the last half hour"),
    "heat-dwell": Held("the relay is resting for a moment"),
    "fan-dwell": Held("the fan is resting for a moment"),
}
# Why: these forbid only the fan, so they never hold the heat off.
_FAN_ONLY = {"garage-not-colder", "heat-lately", "fan-dwell"}
# Why: the same trouble, seen as a trip, an alarm and a veto, is said once, by the first that is.
_SAID_BY = {
    "tripped": tuple(code for code, held in HELD.items() if not held.text),
    "no-beer-reading": ("beer-probe-lost",),
    "no-pad-reading": ("pad-probe-lost",),
    "probe-garage": ("garage-probe-lost",),
    "probe-beer": ("beer-probe-lost", "no-beer-reading"),
    "probe-pad": ("pad-probe-lost", "no-pad-reading"),
}
_LOOK = "What happened, further down, says when and what to do."
_PROBE_NAMES = {"beer": "beer", "garage": "garage", "air": "chamber air", "pad": "pad"}


def reason(code: str) -> str:
    """The words that complete "Heat is held off: …"; an unknown code is shown as it is."""
    return HELD[code].reason if code in HELD else code.replace("-", " ")


def holding_off(tick: Tick) -> str | None:
    """The code of the first interlock that forbids heat now, or None."""
    if tick.heat_permit == "free":
        return None
    return next((code for code in tick.vetoes if code not in _FAN_ONLY), None)


def troubles(seen: Seen, units: Units) -> tuple[Trouble, ...]:
    """Everything that is wrong now, the most urgent first, each once."""
    found: dict[str, Trouble] = {}
    for trouble in (*_silence(seen), *_told(seen, units), *_vetoes(seen), *_probes(seen)):
        found.setdefault(trouble.code, trouble)
    said_once = [
        trouble
        for code, trouble in found.items()
        if not any(other in found for other in _SAID_BY.get(code, ()))
    ]
    return tuple(sorted(said_once, key=lambda each: _RANKS.index(each.priority)))


def _silence(seen: Seen) -> Iterator[Trouble]:
    if seen.tick is None or not (seen.is_silent or seen.is_stopped):
        return
    if seen.is_stopped:
        text = "The controller was stopped, so this chamber is neither heated nor cooled."
        remedy = "Start it again on its machine, or look after the beer by hand."
        yield Trouble("controller-stopped", "high", text, remedy)
        return
    text = "The controller has gone silent. What the pad is doing now is not known."
    remedy = (
        "Look at the machine: its power, its network, the broker. Feel the pad; if it is hot, "
        "unplug it."
    )
    yield Trouble("controller-silent", "high", text, remedy, seen.heard_utc_s)


def _told(seen: Seen, units: Units) -> Iterator[Trouble]:
    """Alarms and trips that the controller told and that still stand: a newer tick has the last
    word on that, because an alarm that ends while the controller restarts is never cleared.
    """
    codes: tuple[str, ...] = () if seen.tick is None else (*seen.tick.trips, *seen.tick.alarms)
    told = {event.code: event for event in seen.standing}
    for code in codes:
        if code not in told:
            yield Trouble(code, "high", f"{reason(code).capitalize()}.", _LOOK)
    for event in seen.standing:
        if event.code in codes or seen.tick is None or event.utc_s > seen.tick.utc_s:
            text, remedy = units.reworded(event.text), units.reworded(event.remedy or "")
            yield Trouble(event.code, _priority(event), text, remedy, event.utc_s)


def _priority(event: Event) -> str:
    return event.priority if event.priority in _RANKS else "high"


def _vetoes(seen: Seen) -> Iterator[Trouble]:
    if not seen.is_live or seen.tick is None:
        return
    for code in seen.tick.vetoes:
        held = HELD.get(code)
        if held is not None and held.text:
            yield Trouble(code, held.priority, held.text, held.remedy)


def _probes(seen: Seen) -> Iterator[Trouble]:
    """A probe that is not trusted; the beer's has an interlock that says it better."""
    if not seen.is_live or seen.tick is None:
        return
    for role, fault in seen.tick.faults.items():
        if fault == "unproven":
            continue
        name = _PROBE_NAMES.get(role, role)
        yield Trouble(
            f"probe-{role}",
            "low",
            f"The {name} probe cannot be read ({fault}).",
            "See that it is plugged in and dry.",
        )


def told(event: Event, units: Units) -> str:
    """An event as a line of the log."""
    name, text = event.code.replace("-", " "), units.reworded(event.text)
    sentence = {
        EventState.TRIPPED: f"Stopped for safety. {text}",
        EventState.CLEARED: f"Over: {name}.",
        EventState.ACKNOWLEDGED: f"Seen: {name}.",
        EventState.SHELVED: f"Kept quiet: {name}.",
        EventState.UNSHELVED: f"No longer kept quiet: {name}.",
        EventState.TAKEN: f"Asked by {event.text}",
        EventState.REFUSED: f"Refused. {event.text}",
        EventState.RELEASED: f"Released: {name}.",
    }
    return sentence.get(cast(EventState, event.state), text)


def standing(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """Of a history (any order), the newest raised or tripped event of each code that nothing has
    cleared, released or made quiet since.
    """
    newest: dict[str, Event] = {}
    for event in sorted(events, key=lambda each: each.utc_s):
        if event.state in _ON or event.state in _OFF:
            newest[event.code] = event
    return tuple(each for each in newest.values() if each.state in _ON)
