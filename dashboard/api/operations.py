"""One operation of the interface: how it is asked, who may, what it answers, and how it is served.

What an operation takes is checked against its own row of the table before anything is done, and
anything the row does not name is refused: a mistyped parameter must not pass as its default.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from controller.errors import DiskError
from dashboard.access.roles import Role
from dashboard.access.ways import Way
from dashboard.api import problems
from dashboard.api.problems import RequestError
from dashboard.api.shapes import SHAPES, Shape
from dashboard.checked import problems as problems_of
from dashboard.errors import EntryError

ROOT = "/api/v1"
JSON = "application/json"


@dataclass(frozen=True, slots=True)
class Parameter:
    """A value in the address. One in the path has no default and must be there."""

    name: str
    shape: Shape
    meaning: str
    is_in_path: bool = False
    is_required: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """A request whose values fit its operation's row."""

    values: Mapping[str, Any]
    body: Mapping[str, Any]

    def __getitem__(self, name: str) -> Any:
        return self.values[name]


@dataclass(frozen=True, slots=True)
class Operation:
    """One row of the table.

    Args:
        name: what it is called in the document.
        method: the HTTP method.
        path: its path, from the root of the server.
        needs: the role it needs.
        meaning: one line for people.
        run: answers it; may raise RequestError and EntryError.
        parameters: what it takes in path and query.
        body: the name of the shape it takes as JSON; None: no body.
        answers: by status, the name of a shape, or a media type, or "" for no body.
        refusals: further statuses it refuses with.
    """

    name: str
    method: str
    path: str
    needs: Role
    meaning: str
    run: Callable[[Asked], Response]
    parameters: tuple[Parameter, ...] = ()
    body: str | None = None
    answers: tuple[tuple[int, str], ...] = ()
    refusals: tuple[int, ...] = ()

    def way(self) -> Way:
        """The same for the table of routes."""
        return Way(self.method, self.path, self.needs, self._endpoint)

    async def _endpoint(self, request: Request) -> Response:
        try:
            values = self._values(request)
            body = await self._body(request) if self.body else {}
            return await run_in_threadpool(self.run, Asked(values, body))
        except RequestError as error:
            return problems.answer(error)
        except EntryError as error:
            return problems.answer(RequestError(422, error.what, error.remedy))
        except DiskError as error:
            return problems.answer(RequestError(503, error.what, error.remedy))

    def _values(self, request: Request) -> dict[str, Any]:
        known = {each.name: each for each in self.parameters}
        given: dict[str, str] = dict(request.path_params)
        for name, text in request.query_params.multi_items():
            if name not in known or known[name].is_in_path:
                raise RequestError(400, f"The parameter {name[:40]!r} is not known here.")
            if name in given:
                raise RequestError(400, f"The parameter {name} is given twice.")
            given[name] = text
        found: dict[str, Any] = {}
        for each in self.parameters:
            if each.name not in given:
                if each.is_required:
                    raise RequestError(400, f"The parameter {each.name} is missing.")
                found[each.name] = each.shape.get("default")
                continue
            found[each.name] = _read(each, given[each.name])
        return found

    async def _body(self, request: Request) -> dict[str, Any]:
        assert self.body is not None
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if kind != JSON:
            raise RequestError(415, f"A body of the kind {kind[:60]!r} is not understood.")
        try:
            text = (await request.body()).decode("utf-8")
            body = json.loads(text, parse_constant=_no_constant)
            json.dumps(body, ensure_ascii=False).encode("utf-8")  # refuses half a character
        except (ValueError, RecursionError) as error:
            raise RequestError(400, "The body is not JSON in UTF-8.") from error
        wrong = problems_of(SHAPES[self.body], body)
        if wrong:
            raise RequestError(422, "The body does not fit.", errors=wrong)
        assert isinstance(body, dict)
        return body


def answered(body: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """A JSON answer."""
    text = json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Response(text, status, {**(headers or {})}, media_type=JSON)


def _read(parameter: Parameter, text: str) -> Any:
    """The parameter's value.

    Raises:
        RequestError: it does not fit; one of a path is then an address that does not exist.
    """
    kind = parameter.shape["type"]
    value: Any = text
    if kind in ("number", "integer"):
        value = _number(text, kind)
    wrong = problems_of(parameter.shape, value, parameter.name)
    if wrong:
        raise RequestError(404 if parameter.is_in_path else 400, f"{wrong[0]}.")
    return value


def _number(text: str, kind: str) -> Any:
    """The number; the text itself when it is none, which then does not fit."""
    try:
        is_plain = text.isascii() and "_" not in text and text == text.strip()
        return (int(text) if kind == "integer" else float(text)) if is_plain else text
    except ValueError:
        return text


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")
