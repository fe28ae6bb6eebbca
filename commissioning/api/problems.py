"""Errors as problem details (RFC 9457): a type, a title, a status, and what to do next."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import exception_handler

from commissioning.errors import Busy, Conflict, InvalidInput, NotAllowed, Refused, ServiceError, WrongSignature
from commissioning.sign_in.attempts import count_wrong_signature

CONTENT_TYPE = "application/problem+json"
#: Status and short name of each refusal a service can answer.
SERVICE_PROBLEMS: dict[type[ServiceError], tuple[int, str, str]] = {
    NotAllowed: (status.HTTP_403_FORBIDDEN, "not-allowed", "Not allowed"),
    Busy: (status.HTTP_429_TOO_MANY_REQUESTS, "busy", "Too much waits already"),
    Conflict: (status.HTTP_409_CONFLICT, "conflict", "Conflict"),
    InvalidInput: (status.HTTP_400_BAD_REQUEST, "invalid-input", "Invalid input"),
    Refused: (status.HTTP_422_UNPROCESSABLE_ENTITY, "refused", "Refused by the rules"),
}
#: What a serializer refuses and what a service refuses is one kind of problem.
NAMES: dict[type[Exception], str] = {exceptions.ValidationError: "invalid-input", exceptions.ParseError: "not-json"}


def problem_details(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: every refusal in one shape. None: an unforeseen error, answered by Django with 500."""
    if isinstance(error, ServiceError):
        return _from_service(error)
    if isinstance(error, Http404):
        error = exceptions.NotFound(str(error) or "There is no such record, or you are not a member of its project.")
    elif isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied()
    answer = exception_handler(error, context)
    if answer is None:
        return None
    return _from_framework(error, answer)


def problem(*, code: int, name: str, title: str, detail: str, **more: Any) -> Response:
    """One problem document; `type` is a relative reference that names the kind."""
    body = {"type": f"/problems/{name}", "title": title, "status": code, "detail": detail, **more}
    return Response(body, status=code, content_type=CONTENT_TYPE)


def _from_service(error: ServiceError) -> Response:
    code, name, title = next(found for kind, found in SERVICE_PROBLEMS.items() if isinstance(error, kind))
    more: dict[str, Any] = {}
    if isinstance(error, WrongSignature):
        count_wrong_signature(error.signer)
    if isinstance(error, InvalidInput):
        more["fields"] = error.fields
    if isinstance(error, Refused):
        more["blockers"] = [{**asdict(blocker), "rule": int(blocker.rule)} for blocker in error.blockers]
    answer = problem(code=code, name=name, title=title, detail=error.words, **more)
    if isinstance(error, Busy):
        answer["Retry-After"] = "60"
    return answer


def _from_framework(error: Exception, answer: Response) -> Response:
    detail, fields = _words(answer.data)
    name = NAMES.get(type(error)) or getattr(error, "default_code", "error").replace("_", "-")
    more = {"fields": fields} if fields or isinstance(error, exceptions.ValidationError) else {}
    headers = {key: value for key, value in answer.items() if key in ("WWW-Authenticate", "Retry-After", "Allow")}
    found = problem(
        code=answer.status_code, name=name, title=name.replace("-", " ").capitalize(), detail=detail, **more
    )
    for key, value in headers.items():
        found[key] = value
    return found


def _words(data: Any) -> tuple[str, dict[str, str]]:
    """One sentence, and the sentence of each field where the error names fields."""
    if isinstance(data, dict) and set(data) == {"detail"}:
        return str(data["detail"]), {}
    if isinstance(data, dict):
        fields = {str(key): flat_words(value) for key, value in data.items()}
        return "; ".join(f"{key}: {words}" for key, words in fields.items()), fields
    return flat_words(data), {}


def flat_words(value: Any) -> str:
    if isinstance(value, dict):
        return "; ".join(f"{key}: {flat_words(item)}" for key, item in value.items())
    if isinstance(value, list | tuple):
        return " ".join(flat_words(item) for item in value)
    return str(value)
