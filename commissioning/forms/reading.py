"""Typing readings: one text field for each value asked for, and the instrument that measured it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.models import Instrument

if TYPE_CHECKING:
    from commissioning.selectors.asking import Asked
    from commissioning.views.asking import MeterChoice

#: Longest text of a value or a list of values.
LONGEST = 4000


class TypedForm(RepeatSafeForm):
    """Values as text; what they mean is for the service to say, so nothing is judged here and nothing is lost."""

    def __init__(
        self, *args: Any, asked: Sequence[Asked], meters: Mapping[str, Sequence[MeterChoice]] | None = None,
        remembered: Mapping[str, str] | None = None, ambient: Asked | None = None, **kwargs: Any,
    ) -> None:  # fmt: skip
        super().__init__(*args, **kwargs)
        self.asked = {one.name: one for one in asked}
        self.meters = {unit: list(found) for unit, found in (meters or {}).items() if found}
        for one in asked:
            self.fields[one.name] = value_field(one)
        for place, (unit, found) in enumerate(self.meters.items()):
            known = [(str(choice.instrument.pk), choice.words) for choice in found]
            self.fields[f"with_{place}"] = forms.ChoiceField(
                required=False,
                label=f"Measured with, for {unit}",
                choices=[("", "no instrument on record: no uncertainty"), *known],
                initial=(remembered or {}).get(unit, ""),
            )
        self.ambient = ambient
        if ambient:
            self.fields[ambient.name] = value_field(ambient)

    @property
    def values(self) -> list[tuple[Any, Asked]]:
        """Fields of the values, each with what is asked."""
        return [(self[name], one) for name, one in self.asked.items()]

    @property
    def instruments(self) -> list[Any]:
        """Fields of the instruments."""
        return [self[f"with_{place}"] for place in range(len(self.meters))]

    @property
    def surroundings(self) -> list[tuple[Any, Asked]]:
        """The field of the temperature at the instrument, where it matters."""
        return [(self[self.ambient.name], self.ambient)] if self.ambient else []

    def typed(self) -> dict[str, str]:
        """What was typed, by input."""
        names = [*self.asked, *([self.ambient.name] if self.ambient else [])]
        return {name: self.cleaned_data.get(name, "") for name in names}

    def chosen(self) -> dict[str, str]:
        """The instruments chosen, by unit."""
        return {unit: self.cleaned_data.get(f"with_{place}", "") for place, unit in enumerate(self.meters)}

    def measured_with(self) -> dict[str, Instrument]:
        """The instrument of each measured input."""
        known = {str(choice.instrument.pk): choice.instrument for found in self.meters.values() for choice in found}
        chosen = {unit: known[pk] for unit, pk in self.chosen().items() if pk in known}
        return {name: chosen[one.unit] for name, one in self.asked.items() if one.measured and one.unit in chosen}


def value_field(one: Asked) -> forms.Field:
    """A text field with number keys on the phone, or a choice among the words that the calculation knows."""
    if one.choices:
        words = [(choice, choice.replace("_", " ")) for choice in one.choices]
        return forms.ChoiceField(required=False, label=one.label, choices=[("", "choose"), *words], help_text=one.help)
    attrs = {"inputmode": "decimal", "autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
    if one.many:
        attrs["data-many"] = ""
    return forms.CharField(
        required=False, label=one.label, max_length=LONGEST, help_text=one.help, widget=forms.TextInput(attrs=attrs)
    )


class ReadingForm(TypedForm):
    """A reading on a check line."""

    remark = forms.CharField(
        required=False, label="Remark", widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}), max_length=LONGEST
    )


class AnswerForm(TypedForm):
    """An answer on a line: passed, failed, not applicable; with the values that the line keeps on record."""

    outcome = forms.CharField(required=False, widget=forms.HiddenInput)
    remark = forms.CharField(
        required=False,
        label="Remark",
        help_text="Needed for failed and for not applicable: what is wrong, or why it does not apply.",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
        max_length=LONGEST,
    )


class ProofForm(RepeatSafeForm):
    """Dead proved at the point of work, with a detector proved before and after (EN 50110-1)."""

    point_of_work = forms.CharField(
        label="Where dead was proved",
        max_length=200,
        help_text="Terminals, cubicle, side of the link.",
        error_messages={"required": "Say where: terminals, cubicle, side of the link."},
    )
    detector = forms.CharField(
        label="Voltage detector, with its serial number",
        max_length=120,
        error_messages={"required": "Name the voltage detector and its serial number."},
    )
    proved_before = forms.BooleanField(
        label="Detector proved on a known source before the test",
        error_messages={"required": "Prove the detector on a known source before the test."},
    )
    proved_after = forms.BooleanField(
        label="Detector proved on a known source after the test",
        error_messages={"required": "Prove the detector on a known source after the test."},
    )


class NoticeForm(RepeatSafeForm):
    """An invitation to a hold or witness point."""

    planned_for = forms.DateTimeField(
        label="When",
        input_formats=["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"],
        error_messages={"invalid": "Write it as 2026-03-31 14:30.", "required": "Say when, as 2026-03-31 14:30."},
        widget=forms.DateTimeInput(format="%Y-%m-%d %H:%M", attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    words = forms.CharField(
        required=False, label="Words", help_text="Where to meet, what to bring.", max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )  # fmt: skip


class WitnessForm(RepeatSafeForm):
    """The named party says that they were there."""

    remark = forms.CharField(
        required=False, label="Remark", widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}), max_length=LONGEST
    )


class PointForm(forms.Form):
    """Make a line a hold, witness or review point for a party; a manager's decision."""

    point = forms.CharField()
    party = forms.CharField(required=False)
