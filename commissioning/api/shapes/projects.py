"""Projects, their people, sites and audit entries."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import Words
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import (
    AuditEntry,
    DecisionRule,
    Membership,
    Project,
    Role,
    SecondFactorFor,
    Site,
    StageKind,
    SystemKind,
)


class MineSerializer(serializers.ModelSerializer[Membership]):
    """A project of mine, and what I am in it."""

    code = serializers.CharField(source="project.code", read_only=True)
    name = serializers.CharField(source="project.name", read_only=True)

    class Meta:
        model = Membership
        fields = ["code", "name", "role", "authorised_person", "all_sites"]
        read_only_fields = fields


class ProjectSerializer(serializers.ModelSerializer[Project]):
    class Meta:
        model = Project
        fields = [
            "id", "code", "name", "client_name", "contractor_name", "time_zone", "decision_rule", "guard_factor",
            "b_blocks_stage", "c_blocks_handover", "far_end_by_second_person", "keep_photo_position", "second_factor",
            "stage_plans", "created_at",
        ]  # fmt: skip
        read_only_fields = fields


class ChangeSettingsSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is."""

    name = Words(max_length=200, allow_blank=False)
    client_name = Words(max_length=200)
    contractor_name = Words(max_length=200)
    time_zone = Words(max_length=64, allow_blank=False)
    decision_rule = serializers.ChoiceField(choices=DecisionRule.choices, required=False)
    guard_factor = serializers.FloatField(min_value=0, max_value=3, required=False)
    b_blocks_stage = serializers.BooleanField(required=False)
    c_blocks_handover = serializers.BooleanField(required=False)
    far_end_by_second_person = serializers.BooleanField(required=False)
    keep_photo_position = serializers.BooleanField(required=False)
    second_factor = serializers.ChoiceField(choices=SecondFactorFor.choices, required=False)
    stage_plans = serializers.DictField(
        child=serializers.ListField(child=serializers.ChoiceField(choices=StageKind.choices)),
        required=False,
        help_text="Stages by kind of system, where they differ from the usual ones.",
    )

    def validate_stage_plans(self, plans: dict[str, list[str]]) -> dict[str, list[str]]:
        if unknown := sorted(set(plans) - set(SystemKind.values)):
            raise serializers.ValidationError(f"There is no kind of system called {', '.join(unknown)}.")
        return plans


class MemberSerializer(serializers.ModelSerializer[Membership]):
    user = PersonSerializer(read_only=True)
    sites = serializers.SerializerMethodField(help_text="Codes of the sites; empty where it is all of them.")

    class Meta:
        model = Membership
        fields = ["id", "user", "role", "all_sites", "sites", "authorised_person", "company", "left_at"]
        read_only_fields = fields

    def get_sites(self, member: Membership) -> list[str]:
        access = self.context["view"].access
        return sorted(site.code for site in member.sites.all() if access.covers(site.pk))


class SetMemberSerializer(serializers.Serializer[Any]):
    """A person's place in the project; the same person again changes it."""

    who = serializers.CharField(max_length=254, help_text="What they sign in with, or their e-mail address.")
    role = serializers.ChoiceField(choices=Role.choices)
    sites = serializers.ListField(
        child=serializers.UUIDField(), required=False, allow_null=True, max_length=500, help_text="Left out: all sites."
    )
    authorised_person = serializers.BooleanField(required=False, default=False)
    company = Words(max_length=120, default="")


class SiteSerializer(serializers.ModelSerializer[Site]):
    class Meta:
        model = Site
        fields = ["id", "code", "name", "time_zone", "notes"]
        read_only_fields = fields


class AuditEntrySerializer(serializers.ModelSerializer[AuditEntry]):
    """One state change, bound by its hash to the entry before it."""

    class Meta:
        model = AuditEntry
        fields = [
            "sequence", "at", "actor", "actor_name", "action", "object_type", "object_id", "system_id", "words", "data",
            "previous_hash", "hash",
        ]  # fmt: skip
        read_only_fields = fields


class ChainSerializer(serializers.Serializer[Any]):
    """What a walk over the audit chain came to."""

    holds = serializers.BooleanField()
    entries = serializers.IntegerField()
    last_hash = serializers.CharField()
    broken = serializers.IntegerField(source="broken.sequence", default=None, help_text="Sequence of the first break.")
    cut_off = serializers.BooleanField(help_text="Entries at the end are missing.")
