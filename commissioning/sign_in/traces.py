"""What the library changes about a person's ways in stands in the audit log of each of their projects."""

from __future__ import annotations

from typing import Any

from allauth.account.signals import password_reset
from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authenticator_added, authenticator_removed
from allauth.socialaccount.signals import social_account_added, social_account_removed
from django.db import transaction
from django.dispatch import receiver

from commissioning.models import User
from commissioning.services.personal import record_in_projects

WORDS = {
    Authenticator.Type.TOTP: "an authenticator app",
    Authenticator.Type.WEBAUTHN: "a passkey",
    Authenticator.Type.RECOVERY_CODES: "recovery codes",
}


@transaction.atomic
def _write(user: User, action: str, words: str) -> None:
    record_in_projects(user=user, action=action, words=words)


@receiver(authenticator_added, dispatch_uid="trace of a factor added")
def added(user: User, authenticator: Authenticator, **kwargs: Any) -> None:
    _write(user, "second_factor_added", f"{user} added {WORDS[Authenticator.Type(authenticator.type)]}.")


@receiver(authenticator_removed, dispatch_uid="trace of a factor removed")
def removed(user: User, authenticator: Authenticator, **kwargs: Any) -> None:
    _write(user, "second_factor_removed", f"{user} removed {WORDS[Authenticator.Type(authenticator.type)]}.")


@receiver(password_reset, dispatch_uid="trace of a password reset")
def password_was_reset(user: User, **kwargs: Any) -> None:
    _write(user, "password_changed", f"{user} set a lost password anew by mail.")


@receiver(social_account_added, dispatch_uid="trace of a company account")
def connected(sociallogin: Any, **kwargs: Any) -> None:
    _write(sociallogin.user, "company_account_connected", f"{sociallogin.user} connected a company account.")


@receiver(social_account_removed, dispatch_uid="trace of a company account parted")
def parted(socialaccount: Any, **kwargs: Any) -> None:
    _write(socialaccount.user, "company_account_parted", f"{socialaccount.user} parted a company account.")
