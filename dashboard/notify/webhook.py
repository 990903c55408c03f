"""A plain web request with the standard library: a message as JSON, or a sign of life.

Raises what it cannot do as `SendError`, which says whether trying again may help. It follows no
redirect, because a POST would arrive as something else.
"""

from __future__ import annotations

import http.client
import json
import urllib.error
import urllib.request
from typing import Any

from dashboard.notify.news import Message

TIMEOUT_S = 10.0  # Why: a phone's service answers within a second or two.
ANSWER_BYTES_MAX = 65_536  # Why: nobody reads the answer; it only has to be taken off the line.
# Source: RFC 9110 and RFC 6585: too slow, too early, too many; the server may want it later.
_LATER = frozenset({408, 425, 429})


class SendError(Exception):
    """A message did not arrive. `is_permanent`: trying again would not help."""

    def __init__(self, what: str, *, is_permanent: bool = False) -> None:
        super().__init__(what)
        self.is_permanent = is_permanent


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: Any) -> None:
        return None


_opener = urllib.request.build_opener(_NoRedirect)


def post(address: str, message: Message, *, is_repeat: bool) -> None:
    """Send a message as JSON. The same message has the same `id` and `Idempotency-Key`.

    Raises:
        SendError: it did not arrive, as far as anybody knows.
    """
    identity = f"barmkeep-{message.id}-{message.made_utc_s:.0f}"
    body = {
        "id": identity,
        "utc_s": round(message.made_utc_s, 3),
        "priority": message.priority,
        "subject": message.subject,
        "text": message.text,
        "link": message.link,
        "is_repeat": is_repeat,
    }
    headers = {"content-type": "application/json", "idempotency-key": identity}
    ask(address, "POST", json.dumps(body, ensure_ascii=False).encode(), headers)


def ask(
    address: str, method: str, body: bytes | None = None, headers: dict[str, str] | None = None
) -> None:
    """One request, answered with success.

    Raises:
        SendError: it was not. Never names the address, which is a secret.
    """
    request = urllib.request.Request(  # noqa: S310 - the scheme was looked at with the settings
        address, body, {"user-agent": "barmkeep", **(headers or {})}, method=method
    )
    try:
        with _opener.open(request, timeout=TIMEOUT_S) as answer:
            answer.read(ANSWER_BYTES_MAX)
    except urllib.error.HTTPError as error:
        with error:
            raise of_status(error.code) from None
    except urllib.error.URLError as error:
        raise SendError(f"It cannot be reached: {_reason(error.reason)}.") from None
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise SendError(f"It cannot be reached: {type(error).__name__}.") from None


def _reason(reason: object) -> str:
    """Why, without the number that means nothing to a person."""
    strerror = getattr(reason, "strerror", None)
    return str(strerror or reason)


def of_status(status: int) -> SendError:
    """The error an HTTP status stands for."""
    is_permanent = 300 <= status < 500 and status not in _LATER
    what = f"It answered {status} ({http.client.responses.get(status, 'unknown')})."
    return SendError(what, is_permanent=is_permanent)
