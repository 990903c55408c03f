"""What every request and every answer must satisfy before and after a page is made.

Refuses: a host name that is not ours (a foreign page that re-points its name at this machine), a
form sent by a foreign page, a body longer than a form can be. Adds the headers under which a
browser runs nothing but our own files. It knows no pages and no people. A change that brings a
token is no form: no browser sends one to us for a foreign page without asking first.
"""

from __future__ import annotations

from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.access.ways import is_for_machines
from dashboard.api import problems

BODY_BYTES_MAX = 16_384  # Why: the longest form here is under 1 kB.
TOO_LONG = (413, "That is too long.", "Send less.")
FOREIGN = (
    403,
    "This form was not sent by this page.",
    "Open the page again and send it there; a program sends a token.",
)
SAFE_METHODS = frozenset({"GET", "HEAD"})

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
        "img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    # Why: tells other sites nothing, as no-referrer would; but under no-referrer a browser sends
    # our own forms with the origin "null", and the origin is what tells them from foreign ones.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


class Guard:
    """Wraps the application. `hosts` are names without a port; an IPv6 address has its brackets."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a refusal, or pass the request on."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        send = _with_headers(send)
        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        try:
            await self._app(scope, _limited(receive), send)
        except _TooLong:
            await _refused(scope, *TOO_LONG)(scope, receive, send)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if _name_of(host) not in self._hosts:
            remedy = "Open the dashboard under a name its settings list."
            return _refused(scope, 421, f"This is not {host[:80]!r}.", remedy)
        is_change = scope["method"] not in SAFE_METHODS and "authorization" not in headers
        if is_change and not _is_own(headers, scope["scheme"], host):
            return _refused(scope, *FOREIGN)
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > BODY_BYTES_MAX:
            return _refused(scope, *TOO_LONG)
        return None


def _is_own(headers: Headers, scheme: str, host: str) -> bool:
    """Whether our own page sent this. A browser on plain HTTP says Origin but no Sec-Fetch-Site."""
    site = headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return False
    return headers.get("origin") == f"{scheme}://{host}"


def _name_of(host: str) -> str:
    """The host without its port, in lower case."""
    if host.startswith("["):
        return host[: host.find("]") + 1].lower()
    return host.partition(":")[0].lower()


def _refused(scope: Scope, status: int, what: str, remedy: str) -> Response:
    """The refusal in words, and to a program in its own form."""
    kept = {"cache-control": "no-store"}
    if is_for_machines(scope["path"]):
        return problems.answer(problems.RequestError(status, what, remedy), kept)
    return PlainTextResponse(f"{what} {remedy}", status, kept)


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("cache-control", "private, no-cache")
        await send(message)

    return sent


class _TooLong(Exception):  # noqa: N818 - never leaves this module
    """More came than the length said, or than a form can be."""


def _limited(receive: Receive) -> Receive:
    """The same body, cut off with an error at the limit, whatever its header claims."""
    taken = 0

    async def received() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > BODY_BYTES_MAX:
            raise _TooLong
        return message

    return received
