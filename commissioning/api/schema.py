"""What the OpenAPI document says of every operation: its subject, its answers, and the problems it may answer."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import extend_schema

from commissioning.api.problems import CONTENT_TYPE

DeedT = TypeVar("DeedT", bound=Callable[..., Any])
PREFIX = re.compile(r"^/api/v1/(projects/\{code\}/)?")

PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "Problem details (RFC 9457): what went wrong, and what to do next.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference", "description": "Names the kind: /problems/refused."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "One sentence for a person."},
        "fields": {
            "type": "object",
            "additionalProperties": {"type": "string"},
            "description": "Of invalid input: a sentence a field.",
        },
        "blockers": {
            "type": "array",
            "items": {"$ref": "#/components/schemas/Blocker"},
            "description": "Of a refusal by the rules: what stands in the way, where, and whose turn it is.",
        },
    },
}
WORDS = {
    "400": "Invalid input: the fields that cannot be right, or a name that nobody knows.",
    "401": "Not signed in.",
    "403": "Not allowed to this role, or a request from another site.",
    "404": "There is no such record, or it is not yours to see.",
    "409": "Somebody else was first, or the same UUID came with other content.",
    "413": "The body is too large.",
    "415": "The body is of another kind than JSON.",
    "429": "Too much background work waits already; Retry-After says when to ask again.",
    "422": "Refused by the rules, with every blocker.",
}


class SubjectSchema(AutoSchema):
    """Tags an operation by its subject: the first word of its path behind the project."""

    def get_tags(self) -> list[str]:
        subject = PREFIX.sub("", self.path).split("/")[0]
        return [subject.replace("-", " ") or "projects"]


def operation(name: str, answer: Any = None, **more: Any) -> Callable[[DeedT], DeedT]:
    """An operation's id and what it answers; the first line of the method's docstring is its summary."""
    return extend_schema(operation_id=name, **({"responses": answer} if answer is not None else {}), **more)


def creates(name: str, asks: Any, answer: Any) -> Callable[[DeedT], DeedT]:
    """An operation that makes a record from the client's UUID: 201, and 200 when it is sent again."""
    return extend_schema(operation_id=name, request=asks, responses={201: answer, 200: answer}, filters=False)


def say_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """The last step over the document: the problems that each operation may answer."""
    result["components"].setdefault("schemas", {})["Problem"] = PROBLEM
    for path, methods in result["paths"].items():
        for method, described in methods.items():
            for code in _codes(path, method, described):
                described["responses"].setdefault(code, _problem(code))
            described["responses"] = dict(sorted(described["responses"].items()))
    return result


def _codes(path: str, method: str, described: dict[str, Any]) -> list[str]:
    codes = ["400", "401"]
    if "{" in path:
        codes += ["403", "404"]
    if method != "get":
        codes += ["403", "409", "422", "429"]
    if "requestBody" in described:
        codes += ["413", "415"]
    return codes


def _problem(code: str) -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/Problem"}
    return {"description": WORDS[code], "content": {CONTENT_TYPE: {"schema": schema}}}
