"""Dossiers: what is asked for, and what is known about one."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import NewId, Words
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import Dossier, DossierScope, StageKind
from commissioning.services.dossier_build import check_url
from commissioning.services.dossiers import PAPERS


class AskDossierSerializer(serializers.Serializer[Any]):
    id = NewId()
    scope = serializers.ChoiceField(choices=DossierScope.choices)
    site = serializers.UUIDField(required=False, help_text="Of the scope site.")
    system = serializers.UUIDField(required=False, help_text="Of the scope system.")
    up_to = serializers.ChoiceField(
        choices=StageKind.choices, required=False, help_text="The last stage that goes in; left out: all of them."
    )
    paper = serializers.ChoiceField(choices=list(PAPERS.items()), required=False, help_text="Left out: A4.")
    reason = Words(max_length=300, help_text="Why it is issued; printed beside the revision.")


class ReceiveDossierSerializer(serializers.Serializer[Any]):
    password = serializers.CharField(max_length=200, trim_whitespace=False, write_only=True)
    remark = Words(max_length=1000)


class DossierSerializer(serializers.ModelSerializer[Dossier]):
    """One revision of a dossier. While `built_at` is empty, its job says how far it is."""

    label = serializers.CharField(read_only=True)  # type: ignore[assignment]
    up_to = serializers.SerializerMethodField(help_text="The last stage that goes in; empty: all of them.")
    paper = serializers.SerializerMethodField(help_text="A4 or LETTER.")
    state = serializers.CharField(source="job.state", read_only=True, help_text="Where its job stands.")
    superseded = serializers.BooleanField(read_only=True, help_text="A later revision is built.")
    asked_by = PersonSerializer(read_only=True)
    check_url = serializers.SerializerMethodField(help_text="Where the QR code on its cover leads.")

    class Meta:
        model = Dossier
        fields = [
            "id", "label", "number", "revision", "scope", "site", "system", "up_to", "paper", "state", "job", "interim",
            "supersedes", "superseded", "asked_by", "asked_at", "built_at", "pages", "pdf_bytes", "pdf_sha256",
            "content_sha256", "check_url",
        ]  # fmt: skip
        read_only_fields = fields

    def get_up_to(self, dossier: Dossier) -> str:
        return str(dossier.job.arguments.get("up_to", ""))

    def get_paper(self, dossier: Dossier) -> str:
        return str(dossier.job.arguments.get("paper") or "A4")

    def get_check_url(self, dossier: Dossier) -> str:
        return check_url(dossier)
