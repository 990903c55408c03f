"""The two gates every request passes: from where it really comes, and who is asking.

`Proxies` believes forwarded headers from listed addresses alone, and takes them away from everybody
else. `Gate` finds out who is asking and lets everybody through: what each may do is for the route.
"""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Callable, Iterable, Sequence
from typing import TypeAlias
from urllib.parse import parse_qs

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Receive, Scope, Send

from controller.errors import SettingsError
from dashboard.access.roles import NOBODY, How, Role, Visitor, asking

Network: TypeAlias = ipaddress.IPv4Network | ipaddress.IPv6Network
Telling: TypeAlias = Callable[[str | None, str | None], Visitor]

FORWARDED = (b"x-forwarded-for", b"x-forwarded-proto", b"x-forwarded-host", b"forwarded")
HOPS_MAX = 20  # Why: a household has one proxy, perhaps two; a longer list is somebody's play.
# Why: the same name in two forms. `__Host-` makes a browser refuse one that another host, a plain
# connection or a path tries to plant; over plain HTTP a browser would not keep it at all.
COOKIE_PLAIN = "barmkeep"
COOKIE_SECURE = "__Host-barmkeep"
BEARER = "bearer "
CALENDAR = "/calendar.ics"
QUERY_BYTES_MAX = 500  # Why: a token has under sixty.


class Proxies:
    """Puts the visitor's own address and scheme in the place of a listed proxy's."""

    def __init__(self, app: ASGIApp, proxies: Sequence[str]) -> None:
        self._app = app
        self._trusted = networks(proxies)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, with what can be believed of where it comes from."""
        if scope["type"] == "http":
            scope = self._told(scope)
        await self._app(scope, receive, send)

    def _told(self, scope: Scope) -> Scope:
        headers = Headers(scope=scope)
        kept = [pair for pair in scope["headers"] if pair[0].lower() not in FORWARDED]
        told = {**scope, "headers": kept}
        client = scope.get("client")
        if client is None or not self._is_trusted(client[0]):
            return told
        # The last was added by the proxy that speaks to us; what stands before it anybody may have.
        hops = [
            hop.strip() for each in headers.getlist("x-forwarded-for") for hop in each.split(",")
        ]
        for hop in reversed(hops[-HOPS_MAX:]):
            told["client"] = (hop, 0)
            if not self._is_trusted(hop):
                break
        scheme = headers.get("x-forwarded-proto", "").strip().lower()
        if scheme in ("http", "https"):
            told["scheme"] = scheme
        return told

    def _is_trusted(self, address: str) -> bool:
        try:
            found = ipaddress.ip_address(address)
        except ValueError:
            return False
        return any(found in network for network in self._trusted)


class Gate:
    """Finds out who is asking, before the routes. `of` tells it from a cookie and a token."""

    def __init__(self, app: ASGIApp, of: Telling) -> None:
        self._app = app
        self._of = of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as this visitor."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        cookie, bearer = cookie_of(headers, scope["scheme"]), bearer_of(headers)
        addressed = token_in_address(scope) if bearer is None else None
        who = await run_in_threadpool(self._of, cookie, addressed if bearer is None else bearer)
        if addressed is not None and who.how is How.TOKEN and who.may_change:
            who = NOBODY
        with asking(who):
            await self._app(scope, receive, send)


def everybody() -> Telling:
    """Lets whoever comes do everything, for as long as this program runs."""
    seal = secrets.token_hex()
    return lambda _cookie, _bearer: Visitor("", Role.CHANGER, How.OPEN, seal)


def bearer_of(headers: Headers) -> str | None:
    """The token of a request; empty when the header holds something else, None without one."""
    given = headers.get("authorization")
    if given is None:
        return None
    return given[len(BEARER) :].strip() if given.lower().startswith(BEARER) else ""


def token_in_address(scope: Scope) -> str | None:
    """The token in the address of the calendar: whoever subscribes to one can send no header.

    Only one that may look is taken there, because addresses are written into logs.
    """
    if scope["path"] != CALENDAR:
        return None
    found = parse_qs(scope["query_string"][:QUERY_BYTES_MAX].decode("latin-1")).get("token", [])
    return found[0] if len(found) == 1 else None


def cookie_of(headers: Headers, scheme: str) -> str | None:
    """The session of a request. Behind TLS only the cookie nobody else can plant is looked at."""
    name = cookie_name(scheme)
    # A browser sends each name once; twice means that another path or host planted the second.
    given = [each for each in headers.getlist("cookie") for each in each.split(";")]
    if sum(each.strip().startswith(f"{name}=") for each in given) != 1:
        return None
    return cookie_parser("; ".join(given)).get(name) or None


def cookie_name(scheme: str) -> str:
    """The name of the session's cookie on a connection of this kind."""
    return COOKIE_SECURE if scheme == "https" else COOKIE_PLAIN


def networks(proxies: Iterable[str]) -> tuple[Network, ...]:
    """The addresses of proxies, each one address or a network like 10.8.0.0/24.

    Raises:
        SettingsError: one of them is neither.
    """
    try:
        return tuple(ipaddress.ip_network(each) for each in proxies)
    except ValueError as error:
        raise SettingsError(
            f"proxies: {error}.", 'Give addresses or networks, like ["127.0.0.1"].'
        ) from error
