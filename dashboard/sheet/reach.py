"""What the pad alone can do, before pitching: in words, and for each kind of yeast.

From what a controller has learned of its vessel and tells in every tick. A pad holds a beer so many
kelvins above its garage; with that one figure every kind's usual temperature gets its answer. It
foretells no weather: the coldest garage of the last day is what it is held against.
"""

from __future__ import annotations

from controller.wire import Tick
from dashboard.fermentation.strains import Strain
from dashboard.sheet import words
from dashboard.sheet.units import Units

KNOWN_H = 6.0  # Why: in less a vessel shows little of its loss.
AT_ONCE_H = 0.1  # Why: a few minutes to a target are none.


def above_garage_k(tick: Tick | None) -> float | None:
    """How far above its garage the pad alone holds the beer; None while that is not known."""
    if tick is None or tick.target_c is None or tick.reach_garage_c is None:
        return None
    return tick.target_c - tick.reach_garage_c


def sentences(tick: Tick | None, units: Units) -> tuple[str, ...]:
    """What is known of this vessel's reach, and how well."""
    above_k = above_garage_k(tick)
    if tick is None or above_k is None or tick.reach_garage_c is None:
        return (
            "How cold a garage this pad can hold is not known yet: it is learned while a target is"
            " held. A rehearsal on the machine answers it before: barmkeep simulate.",
        )
    target, garage = (
        words.temperature(each, units) for each in (tick.target_c, tick.reach_garage_c)
    )
    found = [f"This pad holds {target} in a garage down to {garage}."]
    if tick.reach_beer_c is not None:
        found.append(_against_last_day(tick.reach_beer_c, above_k, tick.reach_garage_c, units))
    if tick.hours_to_target is not None and tick.hours_to_target > AT_ONCE_H:
        found.append(f"It would be warm in about {tick.hours_to_target:.0f} h.")
    if tick.learned_h is not None and tick.learned_h < KNOWN_H:
        found.append("The vessel is not well known yet; look again tomorrow.")
    return tuple(found)


def _against_last_day(
    reach_beer_c: float, above_k: float, reach_garage_c: float, units: Units
) -> str:
    coldest_c = reach_beer_c - above_k
    coldest = words.temperature(coldest_c, units)
    if coldest_c >= reach_garage_c:
        return f"The coldest garage of the last day, {coldest}, was warmer than that."
    held = words.temperature(reach_beer_c, units)
    return (
        f"In the coldest garage of the last day, {coldest}, it would hold no more than {held}: a"
        " better jacket, a stronger listed pad or a warmer place would mend that."
    )


def of_kind(tick: Tick | None, kind: Strain, units: Units) -> str:
    """For one kind of yeast: the garage down to which its usual temperature is held."""
    usual = words.temperature(kind.expected.usual_c, units)
    above_k = above_garage_k(tick)
    if above_k is None:
        return f"usually at {usual}"
    garage = words.temperature(kind.expected.usual_c - above_k, units)
    return f"usually at {usual}, held in a garage down to {garage}"
