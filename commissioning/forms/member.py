"""Forms of the people in a project, and of the audit log's filter."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from commissioning.models import Membership, Role, Site

ROLE_WORDS = [
    (Role.MANAGER, "manager: signs gates, grants concessions, changes settings and register"),
    (Role.FIELD_ENGINEER, "field engineer: does the work and records it"),
    (Role.CLIENT, "client: witnesses, accepts gates, takes the dossier"),
]


class MemberForm(forms.Form):
    """A person's place in the project."""

    role = forms.ChoiceField(
        choices=ROLE_WORDS,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose manager, field engineer or client."},
    )
    which_sites = forms.ChoiceField(
        label="Sites",
        choices=[("all", "every site, also those added later"), ("some", "only those ticked")],
        initial="all",
        widget=forms.RadioSelect,
    )
    sites = forms.ModelMultipleChoiceField(
        queryset=Site.objects.none(), required=False, label="Only these", widget=forms.CheckboxSelectMultiple
    )
    authorised_person = forms.BooleanField(
        required=False,
        label="Authorised person",
        help_text="May sign permissions to energise. Tick it only for somebody appointed under the local safety rules.",
    )
    company = forms.CharField(required=False, max_length=120)

    def __init__(self, *args: Any, sites: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sites"].queryset = sites

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("which_sites") == "some" and not given.get("sites"):
            self.add_error("sites", "Tick at least one site, or choose every site.")
        return given

    def place(self) -> dict[str, Any]:
        """Arguments of the service."""
        given = self.cleaned_data
        return {
            "role": given["role"],
            "sites": None if given["which_sites"] == "all" else list(given["sites"]),
            "authorised_person": given["authorised_person"],
            "company": given["company"].strip(),
        }


class NewMemberForm(MemberForm):
    """Somebody who can sign in already is given a place."""

    who = forms.CharField(
        label="User name or e-mail address",
        max_length=254,
        help_text="As they sign in. Somebody without an account is invited by e-mail instead.",
        error_messages={"required": "Type the user name or the e-mail address."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
    )
    field_order = ["who", "role", "which_sites", "sites", "authorised_person", "company"]


class AuditFilter(forms.Form):
    """The filter bar of the audit log."""

    q = forms.CharField(required=False, label="search", widget=forms.TextInput(attrs={"type": "search"}))
    who = forms.ChoiceField(required=False)
    system = forms.CharField(required=False, widget=forms.TextInput(attrs={"size": 10, "list": "systems"}))
    action = forms.ChoiceField(required=False)
    since = forms.DateField(
        required=False,
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(
            format="%Y-%m-%d", attrs={"inputmode": "numeric", "placeholder": "2026-03-31", "size": 10}
        ),
    )
    until = forms.DateField(
        required=False,
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(
            format="%Y-%m-%d", attrs={"inputmode": "numeric", "placeholder": "2026-03-31", "size": 10}
        ),
    )

    def __init__(self, data: Any, *, members: Iterable[Membership], actions: Iterable[str]) -> None:
        super().__init__(data, auto_id="filter_%s")
        people = [(str(member.user_id), str(member.user)) for member in members]
        self.fields["who"].choices = [("", "anybody"), ("product", "the product"), *people]
        self.fields["action"].choices = [("", "anything"), *((name, name.replace("_", " ")) for name in actions)]

    def given(self) -> dict[str, Any]:
        """What could be read of it."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}
