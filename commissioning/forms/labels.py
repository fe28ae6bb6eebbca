"""Forms of the labels: narrow the list, and how the sheet is laid out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms

from commissioning.labels.stock import STOCKS, USUAL
from commissioning.models import Site, System
from commissioning.selectors.labels import LabelsWanted

#: One file holds so many labels; more of them are made in parts.
LABELS_LIMIT = 1000
#: A printer that draws its paper in askew is out by no more than this.
SHIFT_LIMIT = 10


class LabelFilter(forms.Form):
    """The filter bar; what cannot be read is left out rather than refused."""

    q = forms.CharField(required=False, label="search", widget=forms.TextInput(attrs={"type": "search"}))
    site = forms.ChoiceField(required=False)
    system = forms.CharField(required=False, widget=forms.TextInput(attrs={"size": 12, "list": "systems"}))

    def __init__(self, data: Any, *, sites: Iterable[Site], system: System | None) -> None:
        if system is not None:
            data = data.copy()
            data["system"] = system.tag
        super().__init__(data, auto_id="filter_%s")
        self.fields["site"].choices = [("", "every site"), *((str(site.pk), site.code) for site in sites)]
        self.of_system = system

    def wanted(self) -> LabelsWanted:
        self.is_valid()
        given = self.cleaned_data
        return LabelsWanted(
            text=given.get("q") or "",
            site=UUID(given["site"]) if given.get("site") else None,
            system=self.of_system.pk if self.of_system else None,
        )


def _shift(label: str) -> forms.FloatField:
    return forms.FloatField(
        required=False,
        min_value=-SHIFT_LIMIT,
        max_value=SHIFT_LIMIT,
        label=label,
        error_messages={
            "invalid": "Write it in mm, such as 1.5 or -1.5.",
            "min_value": f"No more than {SHIFT_LIMIT} mm.",
            "max_value": f"No more than {SHIFT_LIMIT} mm.",
        },
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off", "size": 5}),
    )


class SheetForm(forms.Form):
    """Which labels, on which stock, from which place."""

    which = forms.ChoiceField(choices=[("ticked", "those ticked"), ("found", "all that were found")])
    stock = forms.ChoiceField(
        label="Label stock",
        choices=[(key, stock.name) for key, stock in STOCKS.items()],
        initial=USUAL,
        help_text="Sheets by their size; measure one, or read it off the packet.",
    )
    start = forms.IntegerField(
        label="First free label",
        initial=1,
        min_value=1,
        help_text="Counted along the rows from the top left, so that a sheet begun before is used up.",
        error_messages={
            "invalid": "Write the number of the first free label, 1 for a fresh sheet.",
            "required": "Write 1 for a fresh sheet.",
            "min_value": "The first label of a sheet is number 1.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 4}),
    )
    right = _shift("Move to the right, in mm")
    down = _shift("Move down, in mm")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        stock, start = STOCKS.get(given.get("stock", "")), given.get("start")
        if stock and start and start > stock.a_sheet:
            self.add_error("start", f"A sheet of this stock has {stock.a_sheet} labels.")
        return given

    def ticked(self) -> list[UUID]:
        """What is ticked; what is no key is left out."""
        found = []
        for text in self.data.getlist("key"):
            try:
                found.append(UUID(text))
            except ValueError:
                continue
        return found
