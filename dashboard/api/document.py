"""The OpenAPI 3.1 document of the interface, made from the table of operations and the shapes.

Nothing is written twice: what the document says an operation takes is what is checked.
"""

from __future__ import annotations

from collections.abc import Sequence
from http import HTTPStatus
from typing import Any

from controller import __version__
from dashboard.access.roles import Role
from dashboard.api import problems
from dashboard.api.operations import JSON, Operation
from dashboard.api.shapes import SHAPES, ref

OPENAPI = "3.1.0"  # Source: the OpenAPI Specification, version 3.1.0.
SUMMARY = """\
Everything the dashboard knows, for programs. Times are seconds of Unix time, temperatures °C, \
shares 0 to 1; gravities are as typed, with what they say of the beer beside them. A change needs \
the role changer, everything else the role looker. Errors are RFC 9457 with a `remedy`."""


def document(operations: Sequence[Operation]) -> dict[str, Any]:
    """The whole document."""
    paths: dict[str, dict[str, Any]] = {}
    for each in operations:
        paths.setdefault(each.path, {})[each.method.lower()] = _operation(each)
    return {
        "openapi": OPENAPI,
        "info": {"title": "barmkeep dashboard", "version": __version__, "description": SUMMARY},
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {
            "schemas": SHAPES,
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "Made by: barmkeep-dashboard token add NAME --role ROLE",
                }
            },
        },
        "security": [{"token": []}],
    }


def _operation(each: Operation) -> dict[str, Any]:
    found: dict[str, Any] = {
        "operationId": each.name,
        "summary": each.meaning,
        "description": f"Needs the role {each.needs.value}.",
        "parameters": [
            {
                "name": parameter.name,
                "in": "path" if parameter.is_in_path else "query",
                "required": parameter.is_in_path or parameter.is_required,
                "description": parameter.meaning,
                "schema": parameter.shape,
            }
            for parameter in each.parameters
        ],
        "responses": {
            **{str(status): _answer(status, what) for status, what in each.answers},
            **{str(status): _refusal(status) for status in refusals(each)},
        },
    }
    if each.body is not None:
        content = {JSON: {"schema": ref(each.body)}}
        found["requestBody"] = {"required": True, "content": content}
    if each.needs is Role.ANYBODY:
        found["security"] = []
    return found


def refusals(each: Operation) -> tuple[int, ...]:
    """The statuses an operation may refuse with: its own, and those that follow from its row."""
    found = set(each.refusals)
    if each.needs is not Role.ANYBODY:
        found |= {401}
    if each.needs is Role.CHANGER:
        found |= {403}
    if each.parameters:
        found |= {400}
    if any(parameter.is_in_path for parameter in each.parameters):
        found |= {404}
    if each.body is not None:
        found |= {400, 413, 415, 422}
    return tuple(sorted(found | {503}))


def _answer(status: int, what: str) -> dict[str, Any]:
    said: dict[str, Any] = {"description": HTTPStatus(status).phrase}
    if what in SHAPES:
        said["content"] = {JSON: {"schema": ref(what)}}
    elif what == JSON:
        said["content"] = {JSON: {"schema": {"type": "object"}}}
    elif what:
        said["content"] = {kind: {"schema": {"type": "string"}} for kind in what.split("|")}
    return said


def _refusal(status: int) -> dict[str, Any]:
    content = {problems.MEDIA_TYPE: {"schema": ref("Problem")}}
    return {"description": HTTPStatus(status).phrase, "content": content}
