"""What a chamber can be asked to do: one row for each kind of order, with its arguments and bounds.

Code, tests, documents and page all go through `ORDER_KINDS`. A row bounds what anybody may ask of
any chamber; each chamber's own limits bound it further (`decision/orders.py`). Nothing is applied
here, and nothing that is not in the table can be asked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

TTL_S_MAX = 600.0  # Why: an order older than ten minutes answers a question nobody asks any more.
TEXT_MAX = 80  # Why: a name must fit a phone's line and a tick.
PROCEDURE_MAX = 10_000  # Why: fifty steps without their notes; with its quotes escaped it fits.
HOLD_S_MAX = 7200.0  # Why: a hold that ends by itself is for a task at the vessel, not a night.
SHELVE_S_MAX = 86_400.0  # Source: ISA-18.2 asks that shelving ends by itself (from memory).
SHELVE_S_MIN = 60.0  # Why: less is an acknowledgement.
GRAVITY_AGE_S_MAX = 7 * 86_400.0  # Why: an older reading says nothing of where the ferment is.


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument of a kind of order.

    Args:
        name: its key on the wire; a unit ends it.
        meaning: one line for people.
        low: the least number allowed; None for a text.
        high: the greatest number allowed, or of a text the most characters.
        required: whether an order without it is refused.
    """

    name: str
    meaning: str
    low: float | None = None
    high: float = TEXT_MAX
    required: bool = True

    @property
    def is_text(self) -> bool:
        """Whether it is a text and not a number."""
        return self.low is None


@dataclass(frozen=True, slots=True)
class OrderKind:
    """One kind of order.

    Args:
        name: its word on the wire.
        meaning: what a chamber then does.
        arguments: what it takes; any other is refused.
    """

    name: str
    meaning: str
    arguments: tuple[Argument, ...] = ()


_CODE = Argument("code", "the alarm")
ORDER_KINDS: tuple[OrderKind, ...] = (
    OrderKind(
        "begin",
        "begin a batch and follow its procedure from the time of pitching",
        (
            Argument("batch", "the batch's name"),
            Argument(
                "procedure",
                "a BeerJSON document with one fermentation procedure",
                high=PROCEDURE_MAX,
            ),
            Argument("pitched_utc_s", "when the yeast was pitched", 0.0, 1e11, required=False),
        ),
    ),
    OrderKind("end", "end the batch: hold no temperature, heat and fan stay off"),
    OrderKind(
        "hold",
        "hold this temperature and let the procedure wait",
        (
            Argument("target_c", "the temperature to hold", -2.0, 45.0),
            Argument(
                "for_s", "for how long; without it until `resume`", 60.0, HOLD_S_MAX, required=False
            ),
        ),
    ),
    OrderKind("resume", "end a hold and go on with the procedure where it waits"),
    OrderKind("next", "go on to the next step of the procedure"),
    OrderKind(
        "gravity",
        "take the gravity for steps that end at one",
        (
            Argument("gravity_sg", "the best estimate, as specific gravity", 0.980, 1.170),
            Argument("age_s", "how old it is", 0.0, GRAVITY_AGE_S_MAX),
        ),
    ),
    OrderKind(
        "acknowledge",
        "note that a person has seen an alarm",
        (Argument("code", "the alarm; without it all of them", required=False),),
    ),
    OrderKind(
        "shelve",
        "keep an alarm quiet for a while; what must stop something still stops it",
        (_CODE, Argument("for_s", "for how long", SHELVE_S_MIN, SHELVE_S_MAX)),
    ),
    OrderKind("unshelve", "let a shelved alarm speak again", (_CODE,)),
    OrderKind(
        "release",
        "release a latched trip, once its cause is gone",
        (Argument("code", "the trip"),),
    ),
)
KIND_BY_NAME: Mapping[str, OrderKind] = {kind.name: kind for kind in ORDER_KINDS}
ARGUMENT_NAMES: tuple[str, ...] = tuple(
    dict.fromkeys(each.name for kind in ORDER_KINDS for each in kind.arguments)
)


def misfit(kind: str, given: Mapping[str, Any]) -> str | None:
    """What is wrong with these arguments for this kind of order, as a sentence; None: nothing.

    `given` maps the names of arguments to values; None counts as not given. It never raises.
    """
    row = KIND_BY_NAME.get(kind)
    if row is None:
        known = ", ".join(KIND_BY_NAME)
        return f"There is no order called {kind[:TEXT_MAX]!r}; there are {known}."
    allowed = {each.name: each for each in row.arguments}
    for name, value in given.items():
        if value is None:
            continue
        if name not in allowed:
            return f"The order {kind} takes no {name[:TEXT_MAX]}; leave it out."
        if (wrong := _wrong(allowed[name], value)) is not None:
            return f"{name} {wrong}"
    for each in row.arguments:
        if each.required and given.get(each.name) is None:
            return f"The order {kind} needs {each.name}: {each.meaning}."
    return None


def _wrong(argument: Argument, value: Any) -> str | None:
    if argument.low is None:
        if not isinstance(value, str) or not value.strip():
            return "is empty; give a text."
        if len(value) > argument.high:
            return f"is longer than {argument.high:g} characters; shorten it."
        if argument.high == TEXT_MAX and not value.isprintable():
            return "must be one line of letters."
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return "is not a number; give one."
    if not argument.low <= value <= argument.high:
        return f"is {value:g}; give {argument.low:g} to {argument.high:g}."
    return None
