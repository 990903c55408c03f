"""Errors for programs, in the form of RFC 9457: what is wrong, and what to do about it.

Ours keep their two sentences: `detail` says what, `remedy` says what now. Whatever goes wrong under
a program's path leaves in this form, so that a reader needs one way to read errors.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from starlette.responses import Response

from controller.errors import BarmkeepError

MEDIA_TYPE = "application/problem+json"  # Source: RFC 9457, section 3.
REMEDIES = {
    400: "Correct the request; /api/v1/openapi.json says what is allowed.",
    401: "Send Authorization: Bearer TOKEN; barmkeep-dashboard token add makes one.",
    403: "Use a token or a user with the role changer.",
    404: "Look at the address.",
    405: "Use one of the methods in the header Allow.",
    409: "Ask again what stands there now.",
    413: "Send less.",
    415: "Send application/json.",
    422: "Correct the value; /api/v1/openapi.json says what is allowed.",
    503: "Try again in a moment.",
}
SHAPE: Mapping[str, Any] = {
    "type": "object",
    "description": "An error, as RFC 9457 has it; `remedy` says what to do.",
    "required": ["type", "title", "status", "detail", "remedy"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "remedy": {"type": "string"},
        "errors": {"type": "array", "items": {"type": "string"}},
    },
}


class RequestError(BarmkeepError):
    """A request that cannot be answered. Whoever wrote the program must act."""

    def __init__(
        self, status: int, what: str, remedy: str = "", errors: Sequence[str] = ()
    ) -> None:
        super().__init__(what, remedy or REMEDIES.get(status, "Look at the request."))
        self.status = status
        self.errors = tuple(errors)


def answer(problem: RequestError, headers: Mapping[str, str] | None = None) -> Response:
    """The problem as a response."""
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(problem.status).phrase,
        "status": problem.status,
        "detail": problem.what,
        "remedy": problem.remedy,
    }
    if problem.errors:
        body["errors"] = problem.errors
    text = json.dumps(body, ensure_ascii=False)
    return Response(text, problem.status, {**(headers or {})}, media_type=MEDIA_TYPE)
