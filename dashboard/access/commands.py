"""Commands of `barmkeep-dashboard` for users and tokens: add, list, remove, and change.

They work on the file beside the store, while a dashboard runs or not, and take effect with the next
request. A password is asked for twice or read from a file, never taken from the command line, where
everybody on the machine could read it. A token is shown once and cannot be shown again.
"""

from __future__ import annotations

import argparse
import contextlib
import getpass
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dashboard import settings
from dashboard.access.entry import checked_name, hashed, new_token
from dashboard.access.passwords import Passwords, check_strength
from dashboard.access.roles import Role
from dashboard.errors import EntryError
from dashboard.keeping.people import People, Token, User, path_beside

USUAL_SETTINGS = Path("/etc/barmkeep/dashboard.toml")
ROLES = tuple(role.value for role in Role if role is not Role.ANYBODY)


def declare(commands: Any, clock: Callable[[], float]) -> None:
    """Add `user` and `token` to the program's commands. `clock` gives UTC seconds."""
    users = _group(commands, "user", "who may sign in")
    add = _one(users, "add", "make a user", lambda asked: _add_user(asked, clock()))
    _role_of(add, "what they may do")
    _password_of(add)
    password = _one(users, "password", "set another password; signs the user out", _set_password)
    _password_of(password)
    role = _one(users, "role", "let a user look only, or change things too", _set_role)
    role.add_argument("role", choices=ROLES)
    _one(users, "remove", "send a user away and sign them out", _remove_user)
    _listing(users, "every user with their role", _list_users)
    tokens = _group(commands, "token", "what devices and programs show instead of signing in")
    add = _one(tokens, "add", "make a token", lambda asked: _add_token(asked, clock()))
    _role_of(add, "what it may do")
    _one(tokens, "remove", "make a token worthless", _remove_token)
    _listing(tokens, "every token with its role", _list_tokens)


def _add_user(asked: argparse.Namespace, now_utc_s: float) -> None:
    with _people(asked) as people:
        name = checked_name(asked.name)
        if people.user(name):
            raise EntryError(f"There is a user {name} already.", "Choose another name.")
        people.add_user(name, asked.role, _new_password(asked, name), now_utc_s)
        may = "look and change" if asked.role == Role.CHANGER else "look"
        print(f"{name} may {may}. From now on visitors must sign in.")


def _set_password(asked: argparse.Namespace) -> None:
    with _people(asked) as people:
        user = people.user(checked_name(asked.name))
        if user is None:
            raise EntryError(f"There is no user {asked.name}.", "List them to see their names.")
        people.set_password(user.name, _new_password(asked, user.name))
        print(f"{user.name} has another password and is signed out everywhere.")


def _set_role(asked: argparse.Namespace) -> None:
    with _people(asked) as people:
        people.set_role(asked.name, asked.role)
        print(f"{asked.name} is now a {asked.role}.")


def _remove_user(asked: argparse.Namespace) -> None:
    with _people(asked) as people:
        people.remove_user(asked.name)
        print(f"{asked.name} is gone and signed out everywhere.")
        if not people.has_users():
            print("There is no user left. Pages on this machine alone ask nobody for a name now.")


def _list_users(asked: argparse.Namespace) -> None:
    with _people(asked) as people:
        _list(people.users(), "user")


def _add_token(asked: argparse.Namespace, now_utc_s: float) -> None:
    with _people(asked) as people:
        token = new_token()
        people.add_token(checked_name(asked.name), asked.role, hashed(token), now_utc_s)
        print(f"{token}\nIt is shown only now. Send it as: Authorization: Bearer TOKEN")


def _remove_token(asked: argparse.Namespace) -> None:
    with _people(asked) as people:
        people.remove_token(asked.name)
        print(f"The token {asked.name} opens nothing any more.")


def _list_tokens(asked: argparse.Namespace) -> None:
    with _people(asked) as people:
        _list(people.tokens(), "token")


def _list(found: tuple[User, ...] | tuple[Token, ...], noun: str) -> None:
    for each in found:
        made = datetime.fromtimestamp(each.made_utc_s, UTC).date()
        print(f"{each.name:32} {each.role:8} made {made}")
    if not found:
        print(f"There is no {noun} yet.")


def _new_password(asked: argparse.Namespace, name: str) -> str:
    """The hash of a password that was typed twice, or stands in a file."""
    if asked.password_file is not None:
        password = settings.secret(str(asked.password_file))
    elif not sys.stdin.isatty():
        raise EntryError(
            "Nobody is at this terminal to type a password.", "Name a file: --password-file FILE."
        )
    else:
        password = getpass.getpass(f"Password for {name}: ")
        if getpass.getpass("The same again: ") != password:
            raise EntryError("The two passwords differ.", "Nothing was changed; start again.")
    check_strength(password, name)
    return Passwords().hash(password)


@contextlib.contextmanager
def _people(asked: argparse.Namespace) -> Iterator[People]:
    people = People(path_beside(Path(settings.read(asked.settings).store.path)))
    try:
        yield people
    finally:
        people.close()


def _group(commands: Any, name: str, meaning: str) -> Any:
    group = commands.add_parser(name, help=meaning, description=f"{meaning.capitalize()}.")
    return group.add_subparsers(required=True, metavar="COMMAND")


def _one(
    group: Any, name: str, meaning: str, command: Callable[[argparse.Namespace], None]
) -> argparse.ArgumentParser:
    parser = _listing(group, meaning, command, name)
    parser.add_argument("name", metavar="NAME")
    return parser


def _listing(
    group: Any, meaning: str, command: Callable[[argparse.Namespace], None], name: str = "list"
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = group.add_parser(
        name, help=meaning, description=f"{meaning.capitalize()}.", allow_abbrev=False
    )
    settings_of(parser)
    parser.set_defaults(command=command)
    return parser


def settings_of(parser: argparse.ArgumentParser) -> None:
    """Give a command the option that names the settings file."""
    parser.add_argument(
        "--settings",
        type=Path,
        default=USUAL_SETTINGS,
        metavar="FILE",
        help=f"the file dashboard.toml (default {USUAL_SETTINGS})",
    )


def _role_of(parser: argparse.ArgumentParser, meaning: str) -> None:
    parser.add_argument(
        "--role", choices=ROLES, required=True, help=f"{meaning}: look only, or change things too"
    )


def _password_of(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--password-file",
        type=Path,
        metavar="FILE",
        help="read the password from this file instead of asking for it",
    )
