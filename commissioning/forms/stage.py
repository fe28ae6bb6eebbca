"""Forms of a gate: sign it, withdraw it, plan it."""

from __future__ import annotations

from django import forms

from commissioning.forms.base import PasswordAgain, RepeatSafeForm


class AcceptForm(RepeatSafeForm):
    """The signature on a gate."""

    remark = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 3, "data-keep": ""}))
    password = PasswordAgain()


class WithdrawForm(forms.Form):
    """Undoing a signature asks for the reason."""

    reason = forms.CharField(
        error_messages={"required": "Say why it is withdrawn; the dossier prints it."}, widget=forms.Textarea
    )


class PlanForm(forms.Form):
    """The date for which a gate is planned; empty clears it."""

    planned_for = forms.DateField(
        required=False,
        label="Planned for",
        help_text="As 2026-03-31. Empty takes the date away.",
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": "Write the date as 2026-03-31."},
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
