"""Asking for a dossier, checking a file, signing for a dossier."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms

from commissioning.forms.base import PasswordAgain, RepeatSafeForm
from commissioning.models import DossierScope, StageKind
from commissioning.selectors.access import Access, sites_for, systems_for
from commissioning.services.dossiers import PAPERS


class AskDossierForm(RepeatSafeForm):
    """What it covers, up to which stage, and why it is issued."""

    covers = forms.ChoiceField(label="It covers", error_messages={"required": "Choose what it covers."})
    up_to = forms.ChoiceField(
        label="Up to",
        required=False,
        choices=[("", "all stages: handover"), *StageKind.choices],
        help_text="A dossier up to a stage leaves later stages out; one of all stages also asks for category B items.",
    )
    paper = forms.ChoiceField(label="Paper", required=False, choices=list(PAPERS.items()))
    reason = forms.CharField(
        label="Why it is issued",
        required=False,
        max_length=300,
        help_text="Printed beside the revision: 'Capacity test added'.",
        widget=forms.TextInput(attrs={"data-keep": ""}),
    )

    def __init__(self, *args: Any, access: Access, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        systems = list(systems_for(access).order_by("tag"))
        sites = list(sites_for(access).order_by("code"))
        groups: list[Any] = [("", "choose a system, a site or the project")]
        if access.site_ids is None:
            groups.append(("project", f"the whole project, {len(systems)} systems"))
        groups.append(("Sites", [(f"site:{one.pk}", str(one)) for one in sites]))
        groups.append(("Systems", [(f"system:{one.pk}", str(one)) for one in systems]))
        self.fields["covers"].choices = groups  # type: ignore[attr-defined]
        self.known: dict[UUID, Any] = {one.pk: one for one in (*sites, *systems)}

    def clean_paper(self) -> str:
        return self.cleaned_data["paper"] or "A4"

    def target(self) -> dict[str, Any]:
        """The scope as the service takes it."""
        kind, _, pk = str(self.cleaned_data["covers"]).partition(":")
        if kind == DossierScope.PROJECT:
            return {"scope": DossierScope.PROJECT}
        return {"scope": kind, kind: self.known[UUID(pk)]}


class CheckFileForm(forms.Form):
    """A PDF that claims to be one of our dossiers."""

    file = forms.FileField(
        label="PDF of a dossier",
        error_messages={"required": "Choose the PDF of a dossier.", "empty": "The file is empty. Choose another."},
        widget=forms.ClearableFileInput(attrs={"accept": "application/pdf,.pdf"}),
    )


class ReceiveForm(forms.Form):
    """The client's signature for having received a dossier."""

    remark = forms.CharField(
        label="Remark",
        required=False,
        max_length=1000,
        help_text="Reservations, if any. Work left undone belongs on the punch list.",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )
    password = PasswordAgain()
