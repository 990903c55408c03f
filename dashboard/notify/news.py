"""What can be told: transitions, each dated by when it became true. Values only.

Whoever has something to tell makes transitions and hands them in; where they come from (a
controller's alarm, silence, the agenda) makes no difference afterwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

PRIORITIES = ("high", "medium", "low")  # Source: ISA-18.2 asks for a few; high is dangerous.


class State(StrEnum):
    """What happened to a thing."""

    RAISED = "raised"
    CLEARED = "cleared"
    QUIETED = "quieted"  # a person has seen it, or it stays quiet by design


@dataclass(frozen=True, slots=True)
class Transition:
    """One change of one thing.

    Args:
        origin: the same transition has the same origin however often it is handed in, also after a
            restart; it is told once.
        thing: what it is about; a clear and its raise name the same.
        state: what happened.
        true_utc_s: when it became so.
        priority: a row of `PRIORITIES`; high breaks the quiet hours.
        text: a sentence or two, in °C, K and SG.
        remedy: what to do, in a sentence or two.
        chamber: the chamber it is about; None: the dashboard itself.
        says_over: whether its end is worth a message.
    """

    origin: str
    thing: str
    state: State
    true_utc_s: float
    priority: str
    text: str
    remedy: str = ""
    chamber: str | None = None
    says_over: bool = True


@dataclass(frozen=True, slots=True)
class News:
    """A transition as it is kept: with its number, and when the dashboard came to know of it."""

    id: int
    transition: Transition
    noticed_utc_s: float


@dataclass(frozen=True, slots=True)
class Message:
    """Something to be sent. `id` is 0 before it is kept; `link` may be empty."""

    id: int
    made_utc_s: float
    priority: str
    subject: str
    text: str
    link: str = ""


# A source of transitions: given UTC seconds, everything it knows now, old and new alike.
Source: TypeAlias = Callable[[float], Iterable[Transition]]
