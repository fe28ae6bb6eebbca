"""Tokens of the API: what a token was made for is looked at where it is read, before any view is."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from knox.auth import TokenAuthentication
from rest_framework.exceptions import NotFound, PermissionDenied
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request

from commissioning.models import ApiToken, TokenScope

#: Each scope holds those before it.
ORDER = (TokenScope.READ, TokenScope.PHONE, TokenScope.WRITE)
#: When a token was last used is written no oftener than this.
SEEN_EVERY = timedelta(minutes=5)


class ScopedTokenAuthentication(TokenAuthentication):
    """A knox token that does no more than it was made for, in no other project than the one it was made for."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        found = super().authenticate(request)
        if found is not None:
            token = cast(ApiToken, found[1])
            admit(token, request)
            _seen(token)
        return found


def admit(token: ApiToken, request: Request) -> None:
    """Refuse what the token was not made for. A view that says nothing needs a token for everything."""
    context = request.parser_context or {}
    code = context.get("kwargs", {}).get("code")
    needed = TokenScope.READ
    if request.method not in SAFE_METHODS:
        needed = TokenScope(getattr(context.get("view"), "write_scope", TokenScope.WRITE))
    if token.project_id and code is not None and code != token.project.code:  # type: ignore[union-attr]
        raise NotFound("There is no such record, or you are not a member of its project.")
    if token.project_id and code is None and needed != TokenScope.READ:
        raise PermissionDenied(f"This token is for project {token.project.code} only.")  # type: ignore[union-attr]
    if ORDER.index(TokenScope(token.scope)) < ORDER.index(needed):
        raise PermissionDenied(f"This token may {TokenScope(token.scope).label}, and no more.")


def _seen(token: ApiToken) -> None:
    now = timezone.now()
    if token.last_used_at is None or now - token.last_used_at > SEEN_EVERY:
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)


class ScopedTokenScheme(OpenApiAuthenticationExtension):
    """How the OpenAPI document says it."""

    target_class = "commissioning.api.token_auth.ScopedTokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token …`: made for reading, for what a phone records, or for everything; for one project "
            "or all of them; until an end.",
        }
