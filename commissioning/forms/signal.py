"""Forms of a signal point: narrow the matrix, confirm at the far end, say what was seen instead."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from commissioning.models import Direction, Site, StageKind, System
from commissioning.selectors.signals import STATES, SignalsWanted


class SignalFilter(forms.Form):
    """The filter bar; what cannot be read is left out rather than refused."""

    q = forms.CharField(required=False, label="search", widget=forms.TextInput(attrs={"type": "search"}))
    system = forms.CharField(required=False, widget=forms.TextInput(attrs={"size": 10, "list": "systems"}))
    site = forms.ChoiceField(required=False)
    stage = forms.ChoiceField(required=False, choices=[("", "every stage"), *StageKind.choices])
    direction = forms.ChoiceField(required=False, choices=[("", "both ways"), *Direction.choices])
    state = forms.ChoiceField(required=False, choices=[("", "every point"), *STATES.items()])

    def __init__(self, data: Any, *, sites: Iterable[Site], system: System | None) -> None:
        if system is not None:
            data = data.copy()
            data["system"] = system.tag
        super().__init__(data, auto_id="filter_%s")
        self.fields["site"].choices = [("", "every site"), *((str(site.pk), site.code) for site in sites)]

    def wanted(self) -> SignalsWanted:
        self.is_valid()
        given = {name: value or "" for name, value in self.cleaned_data.items()}
        words = {name: given.get(name, "") for name in ("system", "site", "stage", "direction", "state")}
        return SignalsWanted(text=given.get("q", ""), **words)


class SeenForm(forms.Form):
    """The far end saw it; a logged response time is better than the time between two presses."""

    response_seconds = forms.FloatField(
        required=False,
        min_value=0,
        max_value=86400,
        label="Response time that the far end logged, in seconds",
        help_text="Empty: the time from forcing to this press.",
        error_messages={"invalid": "Write the seconds as a number, such as 2.5."},
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )


class FailForm(forms.Form):
    """The far end saw something else, or nothing."""

    reason = forms.CharField(
        label="What the far end saw instead",
        help_text="Nothing, another point, the wrong text, the wrong way round.",
        error_messages={"required": "Say what the far end saw instead."},
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )
