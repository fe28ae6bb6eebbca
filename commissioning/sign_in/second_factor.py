"""What the product decides where django-allauth asks about passkeys, authenticator apps and their secrets."""

from __future__ import annotations

import base64
import re
from functools import lru_cache
from typing import Any

import segno
from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser

PRODUCT = "the commissioning tracker"
FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)


def is_enrolled(user: AbstractBaseUser) -> bool:
    """True when the account has an authenticator app or a passkey."""
    return Authenticator.objects.filter(user_id=user.pk, type__in=FACTORS).exists()


def code_holds(user: AbstractBaseUser, code: str) -> bool:
    """True for the code that the person's authenticator app shows now; each holds once."""
    code = code.replace(" ", "")
    if not re.fullmatch(r"\d{6}", code, re.ASCII):
        return False
    app = Authenticator.objects.filter(user_id=user.pk, type=Authenticator.Type.TOTP).first()
    return app is not None and bool(app.wrap().validate_code(code))


class SecondFactor(DefaultMFAAdapter):
    """django-allauth's adapter of second factors."""

    error_messages = {
        **DefaultMFAAdapter.error_messages,
        "incorrect_code": "This code does not fit, or it has been used. Type the one that shows now.",
        "cannot_generate_recovery_codes": "Set up an authenticator app or a passkey first.",
    }

    def encrypt(self, text: str) -> str:
        """Secrets of authenticator apps and recovery codes: a copy of the database alone is no use."""
        return _box(settings.SECRET_KEY, tuple(settings.SECRET_KEY_FALLBACKS)).encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        return _box(settings.SECRET_KEY, tuple(settings.SECRET_KEY_FALLBACKS)).decrypt(encrypted_text.encode()).decode()

    def get_totp_label(self, user: AbstractBaseUser) -> str:
        return user.get_username()

    def build_totp_svg(self, url: str) -> str:
        return segno.make(url, micro=False).svg_inline(scale=5, border=4, dark="#000", light="#fff")

    def generate_authenticator_name(self, user: AbstractBaseUser, type: Authenticator.Type) -> str:
        number = Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1
        return f"passkey {number}"

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        return {"id": context.request.get_host().partition(":")[0], "name": PRODUCT}

    def get_public_key_credential_user_entity(self, user: AbstractBaseUser) -> dict[str, Any]:
        return {**super().get_public_key_credential_user_entity(user), "name": user.get_username()}


@lru_cache(maxsize=4)
def _box(secret: str, before: tuple[str, ...]) -> MultiFernet:
    """Encrypts with the product's key; what an earlier key encrypted is still read."""
    return MultiFernet([Fernet(_key(one)) for one in (secret, *before)])


def _key(secret: str) -> bytes:
    made = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"second factors").derive(secret.encode())
    return base64.urlsafe_b64encode(made)
