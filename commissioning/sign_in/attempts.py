"""Wrong tries at signing in, counted so that nobody can shut somebody else out.

* By place and account together: eight wrong tries, and that place waits five minutes for that account. The person
  signs in from anywhere else meanwhile.
* By place alone, for browsers that never signed in to the account: guessing over many accounts is slowed.
* A browser that signed in to the account before carries a signed mark, and is a place of its own: somebody who
  guesses behind the same router does not stand in its way.
* By account, over all places: never a lock. Above the limit the right password from an unknown browser asks for a
  mailed code as well, unless the account has a second factor anyway.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.core.internal import ratelimit
from django.core.cache import cache
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import get_random_string

from commissioning.models import User

APP = "allauth.account"
#: Wrong passwords over one session's signatures, and for how long they count.
SIGNATURES, WINDOW_SECONDS = 8, 300
DEVICE_SECONDS = 180 * 24 * 3600
SALT = "known device"


def account_of(credentials: Mapping[str, Any]) -> User | None:
    """The account that somebody tries to get into, whether they typed its user name or its address."""
    typed = [str(credentials[name]) for name in ("username", "email") if credentials.get(name)]
    if not typed:
        return None
    return User.objects.filter(Q(username__in=typed) | Q(email__iexact=typed[0])).order_by("pk").first()


def known_device(request: HttpRequest, user: User | None) -> str:
    """The mark of a browser that signed in to this account before, or nothing."""
    if user is None:
        return ""
    return request.get_signed_cookie(_cookie(user), default="", salt=SALT + str(user.pk), max_age=DEVICE_SECONDS) or ""


def remember_device(request: HttpRequest, response: HttpResponse, user: User) -> None:
    """After a whole sign-in: this browser is known to the account from now on."""
    mark = known_device(request, user) or get_random_string(16)
    response.set_signed_cookie(
        _cookie(user),
        mark,
        salt=SALT + str(user.pk),
        max_age=DEVICE_SECONDS,
        secure=request.is_secure(),
        httponly=True,
        samesite="Lax",
    )


def key_of(request: HttpRequest, credentials: Mapping[str, Any]) -> str:
    """What wrong tries are counted under: the account, and the place or browser that the try comes from."""
    user = account_of(credentials)
    typed = str(credentials.get("email") or credentials.get("username") or "").casefold()
    return f"{user.pk if user else typed}@{known_device(request, user) or place_of(request)}"


def place_of(request: HttpRequest) -> str:
    """The address that a request comes from; of an IPv6 address, the network that one household is given."""
    return ratelimit.truncate_ip(get_adapter(request).get_client_ip(request))


def admit_place(request: HttpRequest, credentials: Mapping[str, Any]) -> ratelimit.RateLimitUsage | None:
    """None when too many tries came from this place, over all accounts; known browsers are not asked."""
    if known_device(request, account_of(credentials)):
        return ratelimit.RateLimitUsage(usage=[])
    return ratelimit.consume(request, app=APP, action="sign_in_place", limit_get=True)


def count_failure(request: HttpRequest, credentials: Mapping[str, Any]) -> None:
    """One more wrong try at the account, wherever it came from."""
    if user := account_of(credentials):
        ratelimit.consume(request, app=APP, action="sign_in_account", key=str(user.pk), limit_get=True)


def is_guessed_at(request: HttpRequest, user: User) -> bool:
    """True while more wrong tries were made at the account than its own person would make."""
    return not ratelimit.consume(
        request, app=APP, action="sign_in_account", key=str(user.pk), dry_run=True, limit_get=True
    )


def admit_code(request: HttpRequest, user: User) -> bool:
    """False after too many wrong second factors. Only somebody who knows the password comes this far."""
    return bool(ratelimit.consume(request, app=APP, action="login_failed", key=_code_key(user), limit_get=True))


def forget_codes(request: HttpRequest, user: User) -> None:
    """The right one clears the count, as the library does on its own page, under the same key."""
    ratelimit.clear(request, app=APP, action="login_failed", key=_code_key(user))


def may_sign(signer: int) -> bool:
    """False after too many wrong passwords over a session of one's own: somebody else may be holding the phone."""
    return len(_wrong_signatures(signer)) < SIGNATURES


def count_wrong_signature(signer: int) -> None:
    """Called by the doors, after the act that the password was typed for is taken back with all it wrote."""
    cache.set(_signature_key(signer), [*_wrong_signatures(signer), time.time()], WINDOW_SECONDS)


def _wrong_signatures(signer: int) -> list[float]:
    return [at for at in cache.get(_signature_key(signer), []) if at > time.time() - WINDOW_SECONDS]


def _signature_key(signer: int) -> str:
    return f"signatures:{signer}"


def _code_key(user: User) -> str:
    return f"mfa-auth-user-{user.pk}"


def _cookie(user: User) -> str:
    return f"known-{user.pk}"
