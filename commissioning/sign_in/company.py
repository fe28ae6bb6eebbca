"""Single sign-on by OpenID Connect: who may come in with it, and what becomes of an invitation."""

from __future__ import annotations

import logging
from typing import Any, cast

from allauth.core.exceptions import ImmediateHttpResponse
from allauth.socialaccount.adapter import DefaultSocialAccountAdapter
from allauth.socialaccount.models import SocialLogin
from django.db import transaction
from django.http import HttpRequest
from django.shortcuts import render

from commissioning.errors import ServiceError
from commissioning.models import User
from commissioning.services import invitations

log = logging.getLogger("commissioning.sign_in")
#: Where the session keeps the invitation whose link was opened: its id and what the link carries.
INVITATION = "invitation"


def invitation_of(request: HttpRequest) -> tuple[str, str] | None:
    """The invitation whose link this browser opened."""
    found = request.session.get(INVITATION)
    return (str(found[0]), str(found[1])) if found else None


class CompanySignIn(DefaultSocialAccountAdapter):
    """django-allauth's adapter of sign-in with another party's account."""

    error_messages = {
        **DefaultSocialAccountAdapter.error_messages,
        "invalid_token": "The company's sign-in answered something that does not hold. Try again.",
        "no_password": "Set a password first, or there would be no way in.",
        "disconnect_last": "This is your only way in. Set a password first.",
        "connected_other": "This company account belongs to somebody else here.",
    }

    def is_open_for_signup(self, request: HttpRequest, sociallogin: SocialLogin) -> bool:
        """A new account only for somebody who was invited."""
        key = invitation_of(request)
        return key is not None and invitations.open_one(id=key[0], secret=key[1]) is not None

    def pre_social_login(self, request: HttpRequest, sociallogin: SocialLogin) -> None:
        """An address that the provider states opens no account that is there: its person connects the two."""
        if sociallogin.is_existing or request.user.is_authenticated:
            return
        email = sociallogin.user.email if sociallogin.user else ""
        if email and User.objects.filter(email__iexact=email).exists():
            raise ImmediateHttpResponse(render(request, "socialaccount/account_is_there.html", status=409))

    def populate_user(self, request: HttpRequest, sociallogin: SocialLogin, data: dict[str, Any]) -> User:
        user = cast(User, super().populate_user(request, sociallogin, data))
        user.name = str(data.get("name") or user.username or user.email)[:120]
        return user

    def is_auto_signup_allowed(self, request: HttpRequest, sociallogin: SocialLogin) -> bool:
        return True

    @transaction.atomic
    def save_user(self, request: HttpRequest, sociallogin: SocialLogin, form: Any = None) -> User:
        """The account and the place that the invitation gives, both or neither."""
        user = cast(User, super().save_user(request, sociallogin, form))
        key = invitation_of(request)
        try:
            invitations.accept(id=key[0] if key else "", secret=key[1] if key else "", user=user)
        except ServiceError as error:
            page = render(request, "socialaccount/not_invited.html", {"words": error.words}, status=403)
            raise ImmediateHttpResponse(page) from error
        request.session.pop(INVITATION, None)
        return user

    def on_authentication_error(self, request: HttpRequest, provider: Any, **more: Any) -> None:
        log.warning("the company's sign-in failed: %s %s", more.get("error"), more.get("exception"))
