"""Narrowing the list, and doing something with many items at once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.models import Membership, Site, StageKind
from punchlist.forms.fields import NOBODY, DayField, OwnerField
from punchlist.models import Category
from punchlist.selectors.filters import STATE_CHOICES
from punchlist.services.common import COMPANY_LIMIT, KEEP


class FilterBar(forms.Form):
    """The filter bar as it is drawn; `ItemFilter` says what each of these finds."""

    q = forms.CharField(required=False, label="search", widget=forms.TextInput(attrs={"type": "search"}))
    mine = forms.ChoiceField(required=False, label="whose", choices=[("", "everybody's"), ("true", "mine")])
    category = forms.ChoiceField(required=False, choices=[("", "A, B, C"), *((c, c) for c in Category.values)])
    state = forms.ChoiceField(required=False, choices=[("", "not closed"), *STATE_CHOICES[1:]])
    system = forms.CharField(required=False, widget=forms.TextInput(attrs={"size": 8}))
    stage = forms.ChoiceField(required=False, choices=[("", "every stage"), *StageKind.choices])
    tag = forms.CharField(required=False, widget=forms.TextInput(attrs={"size": 8}))
    overdue = forms.ChoiceField(required=False, label="due", choices=[("", "any day"), ("true", "overdue")])

    def __init__(self, data: Any, *, sites: Iterable[Site], members: Iterable[Membership]) -> None:
        super().__init__(data, auto_id="filter_%s")
        codes = [("", "every site"), *((site.code, site.code) for site in sites)]
        self.fields["site"] = forms.ChoiceField(required=False, choices=codes)
        people = [(str(member.user_id), str(member.user)) for member in members]
        choices = [("", "anybody"), (NOBODY, "nobody"), *people]
        self.fields["owes"] = forms.ChoiceField(required=False, choices=choices)


class AssignForm(RepeatSafeForm):
    """Who owes the chosen items, and until when. What is left empty stays as it is."""

    owes_company = forms.CharField(
        label="Company", required=False, max_length=COMPANY_LIMIT, help_text="Empty: as it is."
    )
    due_on = DayField(help_text="Year-month-day, 2026-04-01. Empty: as it is.")

    def __init__(self, *args: Any, members: Iterable[Membership], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", "as it is"), (NOBODY, "nobody")]
        self.fields["owes"] = self.owners = OwnerField(members, first=choices)
        self.order_fields(["owes", "owes_company", "due_on"])

    def wanted(self) -> dict[str, Any]:
        """Arguments of the service: 'nobody' takes the person and the company off."""
        given = self.cleaned_data
        nobody = given["owes"] == NOBODY
        return {
            "owes": None if nobody else (self.owners.user(given["owes"]) or KEEP),
            "owes_company": given["owes_company"] or ("" if nobody else KEEP),
            "due_on": given["due_on"] or KEEP,
        }

    @property
    def words(self) -> str:
        """To whom, as the message says it."""
        given = self.cleaned_data
        owner = self.owners.user(given["owes"])
        parts = [str(owner) if owner else given["owes"], given["owes_company"]]
        parts.append(f"due {given['due_on']:%Y-%m-%d}" if given["due_on"] else "")
        return ", ".join(part for part in parts if part)


class ViewForm(RepeatSafeForm):
    """A name for the filter in hand."""

    name = forms.CharField(max_length=80, label="Name of this view")
    query = forms.CharField(required=False, max_length=500, widget=forms.HiddenInput)
    shared = forms.BooleanField(required=False, label="for everybody in the project")
