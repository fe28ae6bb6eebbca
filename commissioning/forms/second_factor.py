"""Second factors: codes of an authenticator app, passkeys, recovery codes."""

from __future__ import annotations

from typing import Any

from allauth.mfa.base import forms as base
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.webauthn import forms as webauthn
from django import forms

from commissioning.forms.account import Plain

_DIGITS = {"inputmode": "numeric", "autocomplete": "one-time-code", "spellcheck": "false", "size": "12"}
_APP = ("Code", "The six digits that your authenticator app shows, or one of your recovery codes.", "Type the code.")


class _Digits(Plain):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs |= _DIGITS  # type: ignore[attr-defined]


class CodeForm(_Digits, base.AuthenticateForm):
    """The second factor at sign-in."""

    WORDS = {"code": _APP}


class CodeOnceMoreForm(_Digits, base.ReauthenticateForm):
    """The second factor again, before the ways in are changed."""

    WORDS = {"code": _APP}


class ActivateAppForm(_Digits, ActivateTOTPForm):
    """The first code of a new authenticator app shows that it reads the same secret."""

    WORDS = {"code": ("Code", "The six digits that the app shows now.", "Type the code that the app shows.")}


class AddPasskeyForm(Plain, webauthn.AddWebAuthnForm):
    """A passkey always signs in by itself: what holds it checks its person by finger, face or PIN."""

    WORDS = {"name": ("Name", "So that you know it again: this phone, the key on the ring.", "")}
    passwordless = forms.BooleanField(required=False, initial=True, widget=forms.HiddenInput)

    def clean_passwordless(self) -> bool:
        return True

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].max_length = 60
        self.fields["name"].widget.attrs |= {"maxlength": "60", "autocomplete": "off"}


class NamePasskeyForm(Plain, webauthn.EditWebAuthnForm):
    """Another name for a passkey."""

    WORDS = {"name": ("Name", "So that you know it again.", "Type a name.")}
