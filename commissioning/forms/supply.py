"""Forms of the supplies: isolate, release, permit, withdraw a permission."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.utils.timezone import localtime

from commissioning.forms.base import PasswordAgain, RepeatSafeForm, local_now
from commissioning.models import PermissionToEnergise, SupplyPoint


class PermissionChoice(forms.ModelChoiceField):
    """Permissions, each as who signed it and until when."""

    def label_from_instance(self, obj: PermissionToEnergise) -> str:
        return permission_words(obj)


class SupplyChoice(forms.ModelMultipleChoiceField):
    """Supplies, each with what is recorded of it."""

    def label_from_instance(self, obj: SupplyPoint) -> str:
        return supply_words(obj)


class IsolateForm(RepeatSafeForm):
    """An isolation as it was made, with its lock."""

    lock_number = forms.CharField(
        label="Lock number",
        max_length=40,
        help_text="As it is written on the lock.",
        error_messages={"required": "Type the number on the lock. An isolation without a lock is not recorded."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    remark = forms.CharField(
        required=False,
        help_text="What was opened, where the lock and the notice hang.",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )


class ReleaseForm(RepeatSafeForm):
    """A release under a permission to energise that names the supply."""

    permission = PermissionChoice(
        queryset=PermissionToEnergise.objects.none(),
        label="Permission to energise",
        empty_label=None,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the permission under which it is released."},
    )
    remark = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}))

    def __init__(self, *args: Any, permissions: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast(PermissionChoice, self.fields["permission"])
        field.queryset = permissions
        if not self.is_bound and (only := list(permissions)) and len(only) == 1:
            self.initial["permission"] = only[0].pk


def permission_words(permission: PermissionToEnergise) -> str:
    """A permission as a choice: who signed it, and until when."""
    until = f"{localtime(permission.valid_until):%Y-%m-%d %H:%M}"
    return f"signed by {permission.signed_name}, until {until}, for {permission.stage.get_kind_display()}"


class PermissionForm(RepeatSafeForm):
    """A permission to energise: which supplies, until when, with which precautions, and the signature."""

    supplies = SupplyChoice(
        queryset=SupplyPoint.objects.none(),
        label="Supplies that may be released",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Name at least one supply."},
    )
    valid_until = forms.DateTimeField(
        label="Valid until",
        input_formats=["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"],
        widget=forms.DateTimeInput(format="%Y-%m-%d %H:%M", attrs={"autocomplete": "off"}),
        error_messages={
            "invalid": "Write it as 2026-03-31 14:30.",
            "required": "Say until when, as 2026-03-31 14:30.",
        },
    )
    precautions = forms.CharField(
        help_text="Who was told, what is barred off, what was checked, who stands where.",
        error_messages={"required": "Write the precautions; whoever releases the supply reads them here."},
        widget=forms.Textarea(attrs={"rows": 4, "data-keep": ""}),
    )
    password = PasswordAgain()

    def __init__(self, *args: Any, supplies: Any, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast(SupplyChoice, self.fields["supplies"])
        field.queryset = supplies
        self.fields["valid_until"].help_text = f"At most seven days, times of {zone}. As {local_now(hours=8)}."


def supply_words(supply: SupplyPoint) -> str:
    """A supply as a choice: tag, kind, and what is recorded of it."""
    recorded = "LIVE" if supply.state == "released" else supply.get_state_display()
    return f"{supply.tag}, {supply.get_kind_display()}: {supply.description or 'no description'} (recorded: {recorded})"
