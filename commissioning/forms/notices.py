"""What a person wants to be told of, and when mail reaches them."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.models.mails import MORNING, PersonalClock
from commissioning.rules.notices import ALL_SWITCHES, MAILS, SWITCHES


class ChoiceForm(forms.Form):
    """A box for each thing that can be switched off, and the clock by which mail comes."""

    def __init__(self, *args: Any, off: set[str], clock: PersonalClock | None, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, switch in ALL_SWITCHES.items():
            self.fields[kind] = forms.BooleanField(
                required=False, label=switch.label, help_text=switch.help, initial=kind not in off
            )
        self.fields["hour"] = forms.IntegerField(
            label="Hour of the daily mail",
            help_text="A whole hour, 0 to 23, in all your projects.",
            initial=clock.hour if clock else MORNING,
            min_value=0,
            max_value=23,
            error_messages=dict.fromkeys(
                ("required", "invalid", "min_value", "max_value"), "Write a whole hour, 0 to 23."
            ),
            widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        )
        self.fields["time_zone"] = forms.CharField(
            required=False,
            max_length=64,
            label="Your time zone",
            help_text=f"Such as Europe/London. Empty: the project's ({zone}).",
            initial=clock.time_zone if clock else "",
            widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
        )

    def notices(self) -> list[forms.BoundField]:
        return [self[kind] for kind in SWITCHES]

    def mails(self) -> list[forms.BoundField]:
        return [self[kind] for kind in MAILS]

    def wanted(self) -> set[str]:
        return {kind for kind in ALL_SWITCHES if self.cleaned_data.get(kind)}
