"""Asking that readings are verified again, and deciding on what changed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms

import calcs
from commissioning.models import Instrument, System


class AskForm(forms.Form):
    """What changed, and which readings it touches."""

    reason = forms.CharField(
        label="What changed",
        max_length=300,
        help_text="A limit, a nameplate value, the accuracy of an instrument, an edition of a calculation.",
        error_messages={"required": "Say what changed; the record shows it."},
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )
    system = forms.ModelChoiceField(queryset=System.objects.none(), required=False, empty_label="every system")
    instrument = forms.ModelChoiceField(
        queryset=Instrument.objects.none(), required=False, empty_label="whatever measured it"
    )
    calculation = forms.ChoiceField(required=False)

    def __init__(self, *args: Any, systems: Any, instruments: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["system"].queryset = systems
        self.fields["instrument"].queryset = instruments
        names = [(name, calcs.get(name).title) for name in calcs.names()]
        self.fields["calculation"].choices = [("", "every calculation"), *names]

    def scope(self) -> dict[str, str]:
        """The narrowing that was chosen."""
        given = self.cleaned_data
        found = {name: str(given[name].pk) for name in ("system", "instrument") if given.get(name)}
        return found | ({"calculation": given["calculation"]} if given.get("calculation") else {})


class DecideForm(forms.Form):
    """A manager's decision on a changed reading."""

    decision = forms.ChoiceField(
        choices=[("confirm", "confirm"), ("keep", "keep")],
        error_messages={"required": "Take the new result over, or keep the old one with a reason."},
    )
    remark = forms.CharField(required=False, max_length=2000)


class DecideManyForm(DecideForm):
    """One decision on the changes that are ticked, or on all that wait."""

    change = forms.TypedMultipleChoiceField(required=False, coerce=UUID)
    everything = forms.BooleanField(required=False)
    expected = forms.IntegerField(required=False, min_value=0)
    kind = forms.ChoiceField(required=False, choices=[("", ""), ("verdict", "verdict"), ("numbers", "numbers")])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sent = self.data.getlist("change") if hasattr(self.data, "getlist") else []
        self.fields["change"].choices = [(text, text) for text in sent if _is_uuid(text)]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not given.get("everything") and not given.get("change") and not self.errors:
            self.add_error("change", "Tick the readings that you decide on, or all of them.")
        return given


def _is_uuid(text: str) -> bool:
    try:
        UUID(text)
    except ValueError:
        return False
    return True
