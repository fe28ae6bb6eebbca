"""Tokens: signed in with user name and password once, then carried in each request; kept as digests by knox."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast

from allauth.account.adapter import get_adapter
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from knox.settings import knox_settings
from rest_framework import serializers, status
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied, Throttled
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import ApiView
from commissioning.api.schema import operation
from commissioning.api.token_auth import ScopedTokenAuthentication
from commissioning.models import Project, TokenScope, User
from commissioning.services.api_tokens import LONGEST_DAYS, make_token, take_back_all
from commissioning.sign_in import attempts
from commissioning.sign_in.second_factor import code_holds, is_enrolled


class SignInSerializer(serializers.Serializer[Any]):
    """Who signs in, and what the token is for."""

    username = serializers.CharField(max_length=254)
    password = serializers.CharField(max_length=4096, trim_whitespace=False)
    code = serializers.CharField(
        max_length=12, required=False, help_text="Of the authenticator app, where the account has one."
    )
    name = serializers.CharField(max_length=80, required=False, default="", allow_blank=True)
    scope = serializers.ChoiceField(choices=TokenScope.choices, required=False, default=TokenScope.WRITE)
    project = serializers.CharField(
        max_length=20, required=False, allow_null=True, help_text="The code of the only project that it opens."
    )
    days = serializers.IntegerField(
        min_value=1, max_value=LONGEST_DAYS, required=False, help_text="Left out: twelve hours."
    )


class TokenSerializer(serializers.Serializer[Any]):
    """A token; it is shown this once, and cannot be read again."""

    token = serializers.CharField()
    expiry = serializers.DateTimeField()
    scope = serializers.ChoiceField(choices=TokenScope.choices)
    project = serializers.CharField(allow_null=True)


class TokenView(ApiView):
    """Signing in."""

    write_scope = TokenScope.READ
    # No session: a page of another site could not sign in with it, and a wrong password is 401, not 403.
    authentication_classes = [ScopedTokenAuthentication]
    permission_classes = []
    serializer_class = SignInSerializer
    filter_backends = []
    pagination_class = None

    @operation("token_create", {201: TokenSerializer})
    def post(self, request: Request) -> Response:
        """Sign in: a token for the header `Authorization: Token …`, what it may do, and until when it holds."""
        given = self.parsed()
        user = signed_in(request._request, given)
        code = given.get("project")
        made, token = make_token(
            user=user,
            name=given["name"],
            scope=given["scope"],
            lasts=timedelta(days=given["days"]) if "days" in given else knox_settings.TOKEN_TTL,
            project=_project_of(user, code) if code else None,
        )
        answer = TokenSerializer({"token": token, "expiry": made.expiry, "scope": made.scope, "project": code})
        return Response(answer.data, status=status.HTTP_201_CREATED, headers={"Cache-Control": "no-store"})


def signed_in(request: HttpRequest, given: dict[str, Any]) -> User:
    """Password and, where the account has one, second factor: under the same limits as the sign-in page."""
    credentials = {"username": given["username"], "email": given["username"], "password": given["password"]}
    try:
        user = cast("User | None", get_adapter(request).authenticate(request, **credentials))
    except ValidationError as error:
        raise Throttled(detail=error.messages[0]) from error
    if user is None or not user.is_active:
        raise AuthenticationFailed("User name and password do not belong together, or the account is closed.")
    if is_enrolled(user):
        check_code(request, user, given.get("code", ""))
    elif attempts.is_guessed_at(request, user):
        raise PermissionDenied("Somebody guesses at this account. Make the token on its page, after signing in there.")
    return user


def check_code(request: HttpRequest, user: User, code: str) -> None:
    """The authenticator app's code; a passkey cannot be asked for here."""
    if not code:
        raise PermissionDenied(
            "This account has a second factor. Send the authenticator app's code as `code`, or make the token on the "
            "page of your account."
        )
    if not attempts.admit_code(request, user):
        raise Throttled(detail="Too many wrong codes. Wait five minutes.")
    if not code_holds(user, code):
        raise AuthenticationFailed("The code does not fit, or it has been used.")
    attempts.forget_codes(request, user)


def _project_of(user: User, code: str) -> Project:
    found = Project.objects.filter(code=code, memberships__user=user, memberships__left_at__isnull=True).first()
    return found or Project(code=code)


class LogoutView(ApiView):
    """Signing out with the token of the request."""

    write_scope = TokenScope.READ
    authentication_classes = [ScopedTokenAuthentication]
    serializer_class = None
    filter_backends = []
    pagination_class = None

    @operation("token_logout", {204: None}, request=None)
    def post(self, request: Request) -> Response:
        """Sign out: this token does not work any more."""
        request.auth.delete()  # type: ignore[union-attr]
        return Response(status=status.HTTP_204_NO_CONTENT)


class LogoutAllView(ApiView):
    """Signing out everywhere."""

    serializer_class = None
    filter_backends = []
    pagination_class = None

    @operation("token_logout_all", {204: None}, request=None)
    def post(self, request: Request) -> Response:
        """Sign out everywhere: none of your tokens works any more."""
        take_back_all(user=self.actor)
        return Response(status=status.HTTP_204_NO_CONTENT)
