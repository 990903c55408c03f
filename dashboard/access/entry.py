"""Signing in and out, and telling from a cookie or a token who is asking.

A session is 32 random bytes in a cookie, of which only the hash is kept here; it ends when unused,
when old, when its user signs out, gets another password or goes. Signing in always makes a new one.
Whether a visitor may do something is not decided here but by the table of routes.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import sqlite3
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field

from controller.errors import BarmkeepError
from dashboard.access.passwords import LENGTH_MAX, Passwords
from dashboard.access.roles import NOBODY, How, Role, Visitor
from dashboard.access.slowing import Slowing
from dashboard.errors import EntryError
from dashboard.keeping.people import People

RANDOM_BYTES = 32  # Source: OWASP Session Management: at least 64 bits; 256 cost nothing more.
IDLE_S = 14 * 86_400.0  # Why: a batch and a break; a phone forgotten for longer asks again.
AGE_S_MAX = 90 * 86_400.0  # Why: a season; then everybody shows once that they know the password.
NOTED_EVERY_S = 3600.0  # Why: idle time is in days; a write at each request would wear the card.
NAME = re.compile(r"[^\W_][\w.-]{0,31}")  # Why: letters of any language; it stands in a margin.
TOKEN_START = "barmkeep_"  # noqa: S105 - by which a leaked one can be found


class SignInError(BarmkeepError):
    """Nobody was signed in. `wait_s` is how long to wait before another try."""

    def __init__(self, what: str, remedy: str, wait_s: float = 0.0) -> None:
        super().__init__(what, remedy)
        self.wait_s = wait_s


@dataclass(frozen=True, slots=True)
class Access:
    """Who may come in. Safe to call from any thread; `sign_in` blocks as long as a hash takes.

    Args:
        people: who there is.
        clock: UTC in seconds.
        always_asks: whether a name is asked for though there is no user yet; None: it is as soon as
            there is one; False: never.
    """

    people: People
    clock: Callable[[], float]
    always_asks: bool | None = None
    passwords: Passwords = field(default_factory=Passwords)
    slowing: Slowing = field(default_factory=Slowing)

    @property
    def asks(self) -> bool:
        """Whether visitors have to sign in."""
        return self.people.has_users() if self.always_asks is None else self.always_asks

    def visitor(self, cookie: str | None, bearer: str | None) -> Visitor:
        """Who is asking, by the session of a cookie or by a token. A token given is the only thing
        looked at, even a wrong one: it says that no browser added a cookie by itself.
        """
        if bearer is not None:
            token = self.people.token(hashed(bearer))
            return Visitor(token.name, Role(token.role), How.TOKEN) if token else NOBODY
        if not self.asks:
            return Visitor("", Role.CHANGER, How.OPEN, self._seal(self.people.secret()))
        found = self._by_session(cookie) if cookie else None
        return found or Visitor(seal=self._seal(self.people.secret()))

    def sign_in(self, name: str, password: str, address: str, old: bytes | None) -> str:
        """The cookie of a new session; the browser's `old` one is ended.

        Raises:
            SignInError: it was wrong, or must wait; both say nothing of whether the user exists.
            BusyError: too many sign in at this moment.
        """
        now_utc_s, account = self.clock(), _account(name)
        wait_s = self.slowing.begin(account, address, now_utc_s)
        if wait_s > 0:
            raise SignInError(
                "Too many tries have failed.", f"Wait {_span(wait_s)} and try again.", wait_s
            )
        user = self.people.user(account)
        typed = password[: LENGTH_MAX + 1]
        is_right = self.passwords.is_right(user.password if user else None, typed)
        if user is None or not is_right or len(typed) > LENGTH_MAX:
            raise SignInError(
                "That name and password do not go together.", "Look at both and try again."
            )
        self.slowing.was_right(account, address)
        if self.passwords.is_outdated(user.password):
            fresh = self.passwords.hash(typed)
            self.people.set_password(user.name, fresh, ends_sessions=False)
        if old is not None:
            self.people.end_session(old)
        cookie = secrets.token_urlsafe(RANDOM_BYTES)
        try:
            self.people.begin_session(user, hashed(cookie), now_utc_s)
        except sqlite3.IntegrityError as error:
            raise SignInError("That user was removed just now.", "Ask who removed it.") from error
        return cookie

    def sign_out(self, visitor: Visitor) -> None:
        """End the visitor's session."""
        if visitor.session is not None:
            self.people.end_session(visitor.session)

    def is_still(self, visitor: Visitor) -> bool:
        """Whether somebody who came in some time ago would still be let in, with the same role."""
        if visitor.how is How.SESSION and visitor.session is not None:
            kept = self.people.session(visitor.session)
            now_utc_s = self.clock()
            return (
                kept is not None
                and kept.role == visitor.role
                and now_utc_s - kept.begun_utc_s <= AGE_S_MAX
            )
        return visitor.how is How.TOKEN or not self.asks

    def _by_session(self, cookie: str) -> Visitor | None:
        key = hashed(cookie)
        kept = self.people.session(key)
        if kept is None:
            return None
        now_utc_s = self.clock()
        unseen_s = now_utc_s - kept.seen_utc_s
        if unseen_s > IDLE_S or now_utc_s - kept.begun_utc_s > AGE_S_MAX:
            self.people.end_session(key)
            return None
        if unseen_s > NOTED_EVERY_S:
            self.people.saw_session(key, now_utc_s)
        return Visitor(kept.name, Role(kept.role), How.SESSION, self._seal(cookie.encode()), key)

    @staticmethod
    def _seal(key: bytes) -> str:
        """What the forms of this session bring back; nobody else can make it."""
        return hmac.new(key, b"a form of this page", hashlib.sha256).hexdigest()[:40]


def hashed(secret: str) -> bytes:
    """What is kept of a session or a token. Both are random and long, so a quick hash is enough."""
    return hashlib.sha256(secret.encode("utf-8", "surrogateescape")).digest()


def new_token() -> str:
    """A token for a device; it is shown once."""
    return TOKEN_START + secrets.token_urlsafe(RANDOM_BYTES)


def checked_name(name: str) -> str:
    """The name as it is kept.

    Raises:
        EntryError: it is not one word of at most 32 letters, digits, dots and hyphens.
    """
    kept = unicodedata.normalize("NFKC", name.strip())
    if not NAME.fullmatch(kept):
        raise EntryError(
            f"{name[:40]!r} cannot be a name here.",
            "Use one word of up to 32 letters, digits, dots and hyphens.",
        )
    return kept


def _account(name: str) -> str:
    """The name as typed, as far as it can be anybody's."""
    return unicodedata.normalize("NFKC", name.strip())[:64].casefold()


def _span(wait_s: float) -> str:
    return f"{wait_s:.0f} seconds" if wait_s < 90 else f"{wait_s / 60:.0f} minutes"
