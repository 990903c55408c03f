"""Roles, and who is asking now. Values, and the one place that carries the visitor of a request.

A role is what a route needs and what a user has. The visitor of a request is set once, by the gate,
and read by the routes' guards and by the page's template; it travels beside the request, because a
form's seal and the name in the margin belong to every page, and no page should have to pass them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a route needs, in rising order. Users and tokens have one of the last two."""

    ANYBODY = "anybody"
    LOOKER = "looker"
    CHANGER = "changer"

    def includes(self, needed: Role) -> bool:
        """Whether who has this role may do what needs that one."""
        order = tuple(Role)
        return order.index(self) >= order.index(needed)


class How(StrEnum):
    """By what we know a visitor."""

    NOBODY = "nobody"  # not signed in, and must
    OPEN = "open"  # nobody is asked for a name here
    SESSION = "session"
    TOKEN = "token"  # noqa: S105 - a word, no secret


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who is asking.

    `seal` is what a form of ours must bring back; empty for a token, which no browser adds by
    itself. `session` is the kept hash of the session, None without one.
    """

    name: str = ""
    role: Role = Role.ANYBODY
    how: How = How.NOBODY
    seal: str = ""
    session: bytes | None = None

    @property
    def may_change(self) -> bool:
        """Whether forms are for this visitor."""
        return self.role.includes(Role.CHANGER)


NOBODY = Visitor()
_now_asking: ContextVar[Visitor] = ContextVar("visitor", default=NOBODY)


def visitor() -> Visitor:
    """Who asks what is being answered now."""
    return _now_asking.get()


@contextmanager
def asking(who: Visitor) -> Iterator[None]:
    """Answer this visitor for as long as the block lasts."""
    before = _now_asking.set(who)
    try:
        yield
    finally:
        _now_asking.reset(before)
