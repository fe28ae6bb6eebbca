"""What forms share: a key that makes sending twice safe, and the password that a signature asks for."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.utils import timezone


class RepeatSafeForm(forms.Form):
    """Carries the record's future key, so that a form sent twice records once, with or without JavaScript."""

    client_uuid = forms.UUIDField(
        required=False, initial=uuid4, widget=forms.HiddenInput(attrs={"data-client-uuid": ""})
    )

    @property
    def record_id(self) -> UUID | None:
        """The key for the record that this form makes."""
        return self.cleaned_data.get("client_uuid")


class PasswordAgain(forms.CharField):
    """Signing asks for the password again; it is never sent back to the page."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Your password")
        kwargs.setdefault(
            "help_text",
            "Signing asks for the password that you sign in with; the code of your authenticator app does as well.",
        )
        kwargs.setdefault("error_messages", {"required": "Type your password to sign."})
        widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
        super().__init__(strip=False, widget=widget, **kwargs)


def local_now(**shift: int) -> str:
    """This minute in the zone of the page, moved by a time difference, as it is typed into a field."""
    moment = timezone.localtime() + timedelta(**shift)
    return f"{moment:%Y-%m-%d %H:%M}"
