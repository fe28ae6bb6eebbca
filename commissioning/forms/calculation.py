"""A calculation of the catalogue as a form, and the tag that its result is kept against."""

from __future__ import annotations

from django import forms

from commissioning.forms.reading import LONGEST, TypedForm

#: The fields stand behind the result, outside the form's own element.
BELONGS = {"form": "calculate"}


class CalculationForm(TypedForm):
    """Every input; a tag and a remark where the result is to be kept."""

    tag = forms.CharField(
        required=False,
        max_length=60,
        label="Tag",
        help_text="The piece of equipment that was measured.",
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "spellcheck": "false", "autocapitalize": "characters", **BELONGS}
        ),
    )
    remark = forms.CharField(
        required=False,
        label="Remark",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": "", **BELONGS}),
        max_length=LONGEST,
    )
