"""Forms of instruments: the instrument, its ranges, its calibrations."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.models import InstrumentRange

_PLAIN = {"autocomplete": "off", "spellcheck": "false"}


class InstrumentForm(RepeatSafeForm):
    """What it is, and the serial number that it is known by."""

    serial_number = forms.CharField(
        label="Serial number",
        max_length=80,
        help_text="As it is written on the instrument.",
        error_messages={"required": "Type the serial number: it is what the record knows the instrument by."},
        widget=forms.TextInput(attrs=_PLAIN),
    )
    description = forms.CharField(
        label="What it is", max_length=200, error_messages={"required": "Say what it is, as multimeter."}
    )
    maker = forms.CharField(required=False, max_length=120)
    model = forms.CharField(required=False, max_length=120)


def _number(label: str, help: str = "", *, required: bool = False) -> forms.CharField:
    return forms.CharField(
        required=required,
        label=label,
        help_text=help,
        max_length=40,
        error_messages={"required": "Type a number."},
        widget=forms.TextInput(attrs={"inputmode": "decimal", **_PLAIN}),
    )


class AccuracyForm(forms.Form):
    """The accuracy of a range as the maker's data sheet states it."""

    percent_of_reading = _number("± % of reading")
    percent_of_range = _number("± % of range")
    counts = _number("± counts")
    resolution = _number("Value of one count", "In the unit: 0.01 where it shows 122.70.")
    temperature_coefficient = _number(
        "± % of reading added per °C outside 18…28 °C", "Empty: the data sheet states none."
    )
    calibration_uncertainty = _number("Uncertainty of its calibration", "Expanded, k = 2, in the unit.")

    def accuracy(self) -> dict[str, Any]:
        """The parts of the accuracy as they were typed; an empty one is none."""
        return {name: self.cleaned_data.get(name, "") for name in AccuracyForm.base_fields}


class RangeForm(RepeatSafeForm, AccuracyForm):
    """A range that is added: its unit, how far it reaches, its accuracy."""

    unit = forms.CharField(
        max_length=20,
        help_text="V, mV, A, Ω, MΩ, °C …",
        error_messages={"required": "Type the unit that the range shows."},
        widget=forms.TextInput(attrs=_PLAIN),
    )
    upper = _number("Largest value it shows", "In the unit.", required=True)
    field_order = ["unit", "upper"]

    def accuracy(self) -> dict[str, Any]:
        """The parts of the accuracy that were typed."""
        return {name: value for name, value in super().accuracy().items() if value}


class ChangeRangeForm(AccuracyForm):
    """A range whose accuracy was put on record wrongly, or is stated anew by its maker."""

    def __init__(self, data: Any = None, *, range: InstrumentRange) -> None:
        known = {name: getattr(range, name) for name in AccuracyForm.base_fields}
        super().__init__(data, initial={name: f"{value:.15g}" for name, value in known.items() if value})

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not any(given.get(name) for name in AccuracyForm.base_fields):
            raise forms.ValidationError("State the accuracy: a range without one counts as perfect. Type at least one.")
        return given


class ReasonForm(forms.Form):
    """Why an instrument goes out of use, or comes back; what it must hold, the service says."""

    reason = forms.CharField(required=False, max_length=2000)


def _day(label: str, missing: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        input_formats=["%Y-%m-%d"],
        help_text="As 2026-03-31.",
        error_messages={"invalid": "Write the date as 2026-03-31.", "required": missing},
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class CalibrationForm(RepeatSafeForm):
    """A calibration: from when, until when, and the certificate that says so."""

    calibrated_on = _day("Calibrated on", "Say when it was calibrated.")
    due_on = _day("Due on", "Say until when the calibration holds.")
    certificate_number = forms.CharField(
        required=False, max_length=80, label="Certificate number", widget=forms.TextInput(attrs=_PLAIN)
    )
    certificate = forms.FileField(
        required=False,
        label="Certificate",
        help_text="As PDF, up to 20 MB.",
        widget=forms.ClearableFileInput(attrs={"accept": "application/pdf"}),
    )
