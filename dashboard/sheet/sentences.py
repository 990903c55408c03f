"""The first sentence of a page: the state of a chamber as a person would put it.

Made from what was read and done, and never from what was intended: heat is "on" only when the relay
was read back on. Each situation is a row of `SITUATIONS`, tried from the top; the first that holds
speaks. Says nothing about remedies (that is `troubles`) and nothing about gravity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from controller.wire import Tick
from dashboard.sheet import words
from dashboard.sheet.seen import ON_TARGET_K, Seen
from dashboard.sheet.troubles import holding_off, reason
from dashboard.sheet.units import Units


@dataclass(frozen=True, slots=True)
class Situation:
    """One row: when it holds, and what is said then."""

    holds: Callable[[Seen], bool]
    say: Callable[[Seen, Units], str]


def first_sentence(seen: Seen, units: Units) -> str:
    """One to four short sentences: the day, the beer, and what is switched on."""
    return next(each.say(seen, units) for each in SITUATIONS if each.holds(seen))


def headline(seen: Seen, units: Units) -> str:
    """A few words for the title of the window: `35.0 °C` or `silent`."""
    if not seen.is_live or seen.tick is None:
        return "not heard" if seen.tick is None else "silent"
    beer_c = seen.tick.beer_c
    return "no reading" if beer_c is None else words.temperature(beer_c, units)


def _unheard(seen: Seen, units: Units) -> str:
    return "Nothing has been heard from this chamber yet."


def _stopped(seen: Seen, units: Units) -> str:
    assert seen.presence is not None
    when = words.moment(seen.presence.utc_s, seen.clock_utc_s, units.zone)
    return f"The controller was stopped at {when}; nobody is holding this beer.{_last(seen, units)}"


def _silent(seen: Seen, units: Units) -> str:
    since = words.moment(_last_heard_utc_s(seen), seen.clock_utc_s, units.zone)
    return f"The controller has been silent since {since}.{_last(seen, units)}"


def _last_heard_utc_s(seen: Seen) -> float:
    if seen.heard_utc_s is not None:
        return seen.heard_utc_s
    return seen.now_utc_s


def _last(seen: Seen, units: Units) -> str:
    if seen.tick is None or seen.tick.beer_c is None:
        return ""
    return f" The beer was at {words.temperature(seen.tick.beer_c, units)} then."


def _no_reading(seen: Seen, units: Units) -> str:
    tick = _tick(seen)
    fault = tick.faults.get("beer", "")
    why = f" ({fault})" if fault else ""
    return f"{_day(seen)}The beer’s temperature cannot be read{why}. {_relays(tick)}"


def _no_target(seen: Seen, units: Units) -> str:
    tick = _tick(seen)
    return f"{_day(seen)}{words.temperature(tick.beer_c, units)}; no target is set. {_relays(tick)}"


def _rising_freely(seen: Seen, units: Units) -> str:
    tick = _tick(seen)
    low, high = (words.temperature(each, units) for each in (tick.target_c, tick.target_high_c))
    return (
        f"{_day(seen)}{words.temperature(tick.beer_c, units)}, rising freely between "
        f"{low} and {high}. {_relays(tick)}"
    )


def _on_target(seen: Seen, units: Units) -> str:
    tick = _tick(seen)
    since = ""
    if seen.on_target_since_utc_s is not None:
        since = f" since {words.moment(seen.on_target_since_utc_s, seen.now_utc_s, units.zone)}"
    return f"{_day(seen)}{words.temperature(tick.beer_c, units)}, on target{since}. {_relays(tick)}"


def _below(seen: Seen, units: Units) -> str:
    tick = _tick(seen)
    away = words.difference(_error_k(tick), units)
    target = words.temperature(tick.target_c, units)
    if tick.heat:
        what = f"warming to {target}, {away} to go"
    else:
        what = f"{away} below the target of {target}"
    return f"{_day(seen)}{words.temperature(tick.beer_c, units)}, {what}. {_relays(tick)}"


def _above(seen: Seen, units: Units) -> str:
    tick = _tick(seen)
    high_c = tick.target_c if tick.target_high_c is None else tick.target_high_c
    away, target = words.difference(_error_k(tick), units), words.temperature(high_c, units)
    what = f"cooling to {target}, {away} to go" if tick.fan else f"{away} above {target}"
    return f"{_day(seen)}{words.temperature(tick.beer_c, units)}, {what}. {_relays(tick)}"


def _relays(tick: Tick) -> str:
    """What is switched on, and what holds the heat off when it is needed."""
    if tick.heat:
        return "Heat is on."
    if tick.fan:
        return "The fan is on."
    held = holding_off(tick)
    if tick.trips:
        return f"Heat is locked off: {reason(tick.trips[0])}."
    if held and tick.beer_c is not None and _error_k(tick) < -ON_TARGET_K:
        return f"Heat is held off: {reason(held)}."
    if tick.demand > 0 and not held:
        return "Heat is off for the moment."
    return "Heat and fan are off."


def _day(seen: Seen) -> str:
    if seen.batch is None:
        return ""
    day = words.day_number(seen.now_utc_s, seen.batch.pitched_utc_s)
    return f"Day {day}. " if day > 0 else "Not pitched yet. "


def _tick(seen: Seen) -> Tick:
    assert seen.tick is not None, "the situations above have said so"
    return seen.tick


def _error_k(tick: Tick) -> float:
    """How far the beer is above (+) or below (-) its target band; 0 inside or without one."""
    if tick.beer_c is None or tick.target_c is None:
        return 0.0
    high_c = tick.target_c if tick.target_high_c is None else tick.target_high_c
    return tick.beer_c - min(max(tick.beer_c, tick.target_c), high_c)


SITUATIONS: tuple[Situation, ...] = (
    Situation(lambda seen: seen.tick is None and not seen.is_stopped, _unheard),
    Situation(lambda seen: seen.is_stopped, _stopped),
    Situation(lambda seen: seen.is_silent, _silent),
    Situation(lambda seen: _tick(seen).beer_c is None, _no_reading),
    Situation(lambda seen: _tick(seen).target_c is None, _no_target),
    Situation(lambda seen: _error_k(_tick(seen)) < -ON_TARGET_K, _below),
    Situation(lambda seen: _error_k(_tick(seen)) > ON_TARGET_K, _above),
    Situation(lambda seen: _tick(seen).target_high_c is not None, _rising_freely),
    Situation(lambda seen: True, _on_target),
)
