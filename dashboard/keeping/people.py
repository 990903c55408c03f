"""Users, their sessions and the tokens of devices, in a file of their own beside the store.

A file of its own, because a copy of the store may be given away, and because a restored store must
not bring back somebody who was sent away. It keeps hashes and hands them out; what a hash means,
how long a session lasts and who may do what is `access`'s to say.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.errors import DiskError
from dashboard.errors import EntryError
from dashboard.keeping.database import PEOPLE, Database

USERS_MAX = 50  # Why: a household and its friends.
TOKENS_MAX = 100  # Why: a token for each device, and some forgotten ones.
SESSIONS_PER_USER_MAX = 20  # Why: a person's browsers; the one longest unseen is ended.
FILE_MODE = 0o600  # Why: hashes are for the dashboard's own user alone.


@dataclass(frozen=True, slots=True)
class User:
    """A person who may sign in. `password` is its hash."""

    id: int
    name: str
    role: str
    password: str
    made_utc_s: float


@dataclass(frozen=True, slots=True)
class Session:
    """A browser that is signed in, with its user's name and role as they are now."""

    name: str
    role: str
    begun_utc_s: float
    seen_utc_s: float


@dataclass(frozen=True, slots=True)
class Token:
    """A device that may speak without signing in."""

    name: str
    role: str
    made_utc_s: float


def path_beside(store: Path) -> Path:
    """Where the users of the dashboard with this store are kept."""
    return store.with_name(f"{store.stem}-people.db")


class People:
    """The file. Safe to call from any thread, and from several programs.

    Raises:
        DiskError: it cannot be used, or this would make it belong to the wrong user.
    """

    def __init__(self, path: Path) -> None:
        _refuse_the_wrong_owner(path)
        with contextlib.suppress(OSError):  # Opening it says what is wrong, in words.
            os.close(os.open(path, os.O_CREAT | os.O_CLOEXEC, FILE_MODE))
        self._database = Database(path, PEOPLE)
        with self._database.writing() as connection:
            connection.execute("INSERT OR IGNORE INTO secret VALUES (1, ?)", (_random(),))

    def close(self) -> None:
        """Let go of the file."""
        self._database.close()

    def secret(self) -> bytes:
        """32 random bytes that never change."""
        return bytes(self._one("SELECT bytes FROM secret")[0])

    # Users.

    def has_users(self) -> bool:
        """Whether anybody can sign in."""
        return bool(self._one("SELECT EXISTS (SELECT 1 FROM users)")[0])

    def users(self) -> tuple[User, ...]:
        """Everybody, by name."""
        return tuple(User(*row) for row in self._rows(f"{_USER} ORDER BY folded"))

    def user(self, name: str) -> User | None:
        """The user of this name, without regard to capitals; None when there is none."""
        found = self._rows(f"{_USER} WHERE folded = ?", name.casefold())
        return User(*found[0]) if found else None

    def add_user(self, name: str, role: str, password: str, now_utc_s: float) -> None:
        """Make a user; `password` is a hash.

        Raises:
            EntryError: the name is taken, or there are `USERS_MAX`.
        """
        with self._new("users", name, USERS_MAX) as connection:
            connection.execute(
                "INSERT INTO users (name, folded, role, password, made_utc_s)"
                " VALUES (?, ?, ?, ?, ?)",
                (name, name.casefold(), role, password, now_utc_s),
            )

    def set_password(self, name: str, password: str, ends_sessions: bool = True) -> None:
        """Another hash for this user; whoever was signed in under the name is signed out.

        Raises:
            EntryError: there is no such user.
        """
        with self._database.writing() as connection:
            changed = connection.execute(
                "UPDATE users SET password = ? WHERE folded = ?", (password, name.casefold())
            )
            _must_be_one(changed.rowcount, f"user {name}")
            if ends_sessions:
                connection.execute(_END_ALL, (name.casefold(),))

    def set_role(self, name: str, role: str) -> None:
        """Another role for this user, from the next request on.

        Raises:
            EntryError: there is no such user.
        """
        self._change("UPDATE users SET role = ? WHERE folded = ?", (role, name), f"user {name}")

    def remove_user(self, name: str) -> None:
        """Send a user away; whoever was signed in under the name is signed out.

        Raises:
            EntryError: there is no such user.
        """
        self._change("DELETE FROM users WHERE folded = ?", (name,), f"user {name}")

    # Sessions.

    def begin_session(self, user: User, session: bytes, now_utc_s: float) -> None:
        """Note a browser as signed in. Beyond `SESSIONS_PER_USER_MAX` the longest unseen is ended.

        Raises:
            sqlite3.IntegrityError: the user has gone meanwhile.
        """
        with self._database.writing() as connection:
            connection.execute(
                "INSERT INTO sessions VALUES (?, ?, ?, ?)",
                (session, user.id, now_utc_s, now_utc_s),
            )
            connection.execute(
                "DELETE FROM sessions WHERE user = ? AND hash NOT IN (SELECT hash FROM sessions"
                " WHERE user = ? ORDER BY seen_utc_s DESC, hash = ? DESC LIMIT ?)",
                (user.id, user.id, session, SESSIONS_PER_USER_MAX),
            )

    def session(self, session: bytes) -> Session | None:
        """The session with this hash; None when there is none."""
        found = self._rows(
            "SELECT name, role, begun_utc_s, seen_utc_s FROM sessions"
            " JOIN users ON users.id = user WHERE hash = ?",
            session,
        )
        return Session(*found[0]) if found else None

    def saw_session(self, session: bytes, now_utc_s: float) -> None:
        """Note that a session is in use."""
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE sessions SET seen_utc_s = ? WHERE hash = ?", (now_utc_s, session)
            )

    def end_session(self, session: bytes) -> None:
        """Sign a browser out."""
        with self._database.writing() as connection:
            connection.execute("DELETE FROM sessions WHERE hash = ?", (session,))

    # Tokens.

    def tokens(self) -> tuple[Token, ...]:
        """Every token, by name."""
        return tuple(Token(*row) for row in self._rows(f"{_TOKEN} ORDER BY folded"))

    def token(self, token: bytes) -> Token | None:
        """The token with this hash; None when there is none."""
        found = self._rows(f"{_TOKEN} WHERE hash = ?", token)
        return Token(*found[0]) if found else None

    def add_token(self, name: str, role: str, token: bytes, now_utc_s: float) -> None:
        """Keep a new token's hash.

        Raises:
            EntryError: the name is taken, or there are `TOKENS_MAX`.
        """
        with self._new("tokens", name, TOKENS_MAX) as connection:
            connection.execute(
                "INSERT INTO tokens (name, folded, role, hash, made_utc_s) VALUES (?, ?, ?, ?, ?)",
                (name, name.casefold(), role, token, now_utc_s),
            )

    def remove_token(self, name: str) -> None:
        """Forget a token; it opens nothing any more.

        Raises:
            EntryError: there is no such token.
        """
        self._change("DELETE FROM tokens WHERE folded = ?", (name,), f"token {name}")

    # What they share.

    def _rows(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        with self._database.reading() as connection:
            return connection.execute(sql, values).fetchall()

    def _one(self, sql: str) -> tuple[Any, ...]:
        return self._rows(sql)[0]

    def _change(self, sql: str, values: tuple[str, ...], what: str) -> None:
        *first, name = values
        with self._database.writing() as connection:
            changed = connection.execute(sql, (*first, name.casefold()))
            _must_be_one(changed.rowcount, what)

    @contextlib.contextmanager
    def _new(self, table: str, name: str, most: int) -> Iterator[sqlite3.Connection]:
        try:
            with self._database.writing() as connection:
                (count,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()  # noqa: S608
                if count >= most:
                    raise EntryError(f"There are {count} {table} already.", "Remove one first.")
                yield connection
        except sqlite3.IntegrityError as error:
            raise EntryError(
                f"There is one called {name} among the {table} already.", "Choose another name."
            ) from error


_USER = "SELECT id, name, role, password, made_utc_s FROM users"
_TOKEN = "SELECT name, role, made_utc_s FROM tokens"  # noqa: S105
_END_ALL = "DELETE FROM sessions WHERE user = (SELECT id FROM users WHERE folded = ?)"


def _random() -> bytes:
    return secrets.token_bytes(32)


def _must_be_one(changed: int, what: str) -> None:
    if changed != 1:
        raise EntryError(f"There is no {what}.", "List them to see their names.")


def _refuse_the_wrong_owner(path: Path) -> None:
    """A file made by root would shut out the service whose folder it lies in."""
    try:
        owner = path.parent.stat()
    except OSError as error:
        raise DiskError(
            f"The folder {path.parent} cannot be used: {error.strerror}.",
            "Create it, or correct [store] path.",
        ) from error
    if os.geteuid() == 0 and owner.st_uid != 0:
        raise DiskError(
            f"The folder {path.parent} belongs to another user, and a file made by root in it could"
            " not be read by the dashboard.",
            f"Put sudo -u '#{owner.st_uid}' before the command.",
        )
