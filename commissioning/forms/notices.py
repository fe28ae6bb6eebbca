"""What a person wants to be told of."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.rules.notices import SWITCHES


class ChoiceForm(forms.Form):
    """A box for each thing that can be switched off."""

    def __init__(self, *args: Any, off: set[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, switch in SWITCHES.items():
            self.fields[kind] = forms.BooleanField(
                required=False, label=switch.label, help_text=switch.help, initial=kind not in off
            )

    def wanted(self) -> set[str]:
        return {kind for kind, on in self.cleaned_data.items() if on}
