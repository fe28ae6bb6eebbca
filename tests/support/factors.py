"""Second factors for tests: an authenticator app of our own, written from RFC 6238 and not from the library."""

from __future__ import annotations

import base64
import hashlib
import hmac
import struct
import time

from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.test import Client

from commissioning.models import User
from tests.support.world import PASSWORD


def code_at(secret: str, at: float | None = None, *, steps: int = 0) -> str:
    """What an authenticator app shows: HMAC-SHA-1 over the number of half minutes, cut to six digits."""
    counter = int((time.time() if at is None else at) // 30) + steps
    digest = hmac.new(base64.b32decode(secret), struct.pack(">Q", counter), hashlib.sha1).digest()
    cut = digest[-1] & 0x0F
    number = struct.unpack(">I", digest[cut : cut + 4])[0] & 0x7FFFFFFF
    return f"{number % 1_000_000:06d}"


def give_app(user: User) -> str:
    """The account has an authenticator app; answers with its secret."""
    secret = generate_totp_secret()
    TOTP.activate(user, secret)
    return secret


def give_recovery_codes(user: User) -> list[str]:
    RecoveryCodes.activate(user)
    found = user.authenticator_set.get(type="recovery_codes")
    return list(found.wrap().get_unused_codes())


def sign_in(user: User | str, password: str = PASSWORD, *, browser: Client | None = None, **extra: str):
    """A sign-in by the page; `extra` goes into the request (REMOTE_ADDR: from where)."""
    name = user if isinstance(user, str) else user.username
    return (browser or Client()).post("/sign-in/", {"username": name, "password": password}, **extra)


def is_in(browser: Client) -> bool:
    """True when the browser is signed in."""
    return "_auth_user_id" in browser.session
