"""Signing: the password or a code again, then name, role, time and a hash of everything that is signed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils import timezone

from commissioning.errors import InvalidInput, WrongSignature
from commissioning.models import Role, User
from commissioning.selectors.access import Access
from commissioning.services.audit import sha256_of
from commissioning.sign_in import attempts
from commissioning.sign_in.second_factor import code_holds

_WRONG = "This is not your password. Type the one you sign in with, or the code that your authenticator app shows."
_NO_SUCH_CODE = (
    "This does not fit. Type the code that your authenticator app shows; "
    "without an app, set one up or set a password under your account."
)


def check_password(*, signer: User, password: str) -> None:
    """Signing asks again who it is, so that a phone left on a bench signs nothing: the password, or the code that the
    person's authenticator app shows now. Somebody who comes in with their company's account has no password here."""
    if not attempts.may_sign(signer.pk):
        raise InvalidInput({"password": "Too many wrong tries. Wait five minutes, then sign."})
    if signer.check_password(password) or code_holds(signer, password):
        return
    raise WrongSignature(_WRONG if signer.has_usable_password() else _NO_SUCH_CODE, signer.pk)


def signature_fields(
    *, signer: User, access: Access, content: dict[str, Any], at: datetime | None = None
) -> dict[str, Any]:
    """Field values of a `Signature` row for `content`."""
    role = Role(access.role).label + (", authorised person" if access.authorised_person else "")
    return {
        "signed_by": signer,
        "signed_name": str(signer),
        "signed_role": role,
        "signed_at": at or timezone.now(),
        "signed_content": content,
        "signed_hash": sha256_of(content),
    }


def signature_holds(signature: Any) -> bool:
    """True while the content that is stored is the content that was signed."""
    return sha256_of(signature.signed_content) == signature.signed_hash
