"""A concession: why it is acceptable as it is, and the signature."""

from __future__ import annotations

from django import forms

from commissioning.forms.base import PasswordAgain, RepeatSafeForm


class ConcessionForm(RepeatSafeForm):
    """The reason that the dossier prints, signed with the password."""

    reason = forms.CharField(
        help_text="Who agreed, on what grounds, until when. The dossier prints it with your name.",
        error_messages={"required": "Say why it is acceptable as it is; the dossier prints the reason."},
        widget=forms.Textarea(attrs={"rows": 3, "data-keep": ""}),
    )
    password = PasswordAgain()
