"""What the product decides where django-allauth asks about accounts: tries, words, mail, what a sign-in leaves."""

from __future__ import annotations

import logging
import smtplib
from typing import Any, cast

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.internal.flows.login import get_authentication_records
from allauth.account.models import EmailAddress, Login
from allauth.core.internal import ratelimit
from django.contrib.auth.base_user import AbstractBaseUser
from django.http import HttpRequest, HttpResponse

from commissioning.models import User
from commissioning.sign_in import attempts
from commissioning.sign_in.second_factor import is_enrolled

log = logging.getLogger("commissioning.sign_in")

_MISMATCH = (
    "User name and password do not go together. Capital letters count. A forgotten password is set anew by mail; "
    "for a forgotten user name, sign in with your e-mail address or ask a manager of your project."
)
WORDS = {
    "username_password_mismatch": _MISMATCH,
    "email_password_mismatch": _MISMATCH,
    "invalid_login": _MISMATCH,
    "too_many_login_attempts": (
        "Too many wrong tries from here. Wait five minutes, or have a code sent to your e-mail address: "
        "that works at once."
    ),
    "rate_limited": "Too many requests from here. Wait five minutes and try again.",
    "account_inactive": "This account is closed. Ask a manager of your project.",
    "incorrect_code": "This code does not fit, or it has been used. Type the one that shows now.",
    "incorrect_password": "This is not your password. Type the one you sign in with.",
    "enter_current_password": "Type the password that you have now.",
    "invalid_password_reset": "This link does not hold any more. Ask for a new one.",
    "unknown_email": "No account has this address.",
}


def name_of(user: User) -> str:
    """How a person is called in mails."""
    return user.get_full_name()


class Accounts(DefaultAccountAdapter):
    """django-allauth's account adapter."""

    error_messages = {**DefaultAccountAdapter.error_messages, **WORDS}
    _place_usage: ratelimit.RateLimitUsage | None = None

    # Wrong tries

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        return attempts.key_of(request, credentials)

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        self._place_usage = attempts.admit_place(request, credentials)
        if self._place_usage is None:
            log.warning("sign-in refused: too many tries from %s", attempts.place_of(request))
            raise self.validation_error("too_many_login_attempts")
        super().pre_authenticate(request, **credentials)

    def _rollback_login_failed_rl_usage(self) -> None:
        super()._rollback_login_failed_rl_usage()
        if self._place_usage:
            self._place_usage.rollback()

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        attempts.count_failure(request, credentials)
        log.warning("sign-in failed from %s", attempts.place_of(request))

    def is_login_by_code_required(self, login: Login) -> bool:
        """A mailed code beside the right password, while strangers guess at the account from everywhere."""
        user = cast("User | None", login.user)
        if user is None or is_enrolled(user) or attempts.known_device(self.request, user):
            return False
        records = get_authentication_records(self.request, user)
        if not records or records[-1]["method"] != "password":
            return False
        return attempts.is_guessed_at(self.request, user) and bool(EmailAddress.objects.get_primary_email(user))

    # What a sign-in and a new password leave behind

    def post_login(self, request: HttpRequest, user: AbstractBaseUser, **more: Any) -> HttpResponse:
        response = super().post_login(request, user, **more)
        attempts.remember_device(request, response, cast(User, user))
        log.info("signed in: %s from %s", user.pk, attempts.place_of(request))
        return response

    def set_password(self, user: AbstractBaseUser, password: str) -> None:
        """A new password ends every token too: who changes it fears that somebody else has it."""
        super().set_password(user, password)
        cast(User, user).auth_token_set.all().delete()  # type: ignore[attr-defined]

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Accounts are made by invitation."""
        return False

    # Mail

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """A mail server that is down must not turn a page into an error: it is logged, and the page says what to do."""
        try:
            super().send_mail(template_prefix, email, context)
        except (OSError, smtplib.SMTPException):
            log.exception("a mail could not be handed over: %s", template_prefix)
