"""Alarm sightings: logged, decided, seen to clear."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView, ProjectView
from commissioning.api.filters import StandingFilter, TextFilter, site_filter, system_filter
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.records import (
    AlarmSerializer,
    ClearAlarmSerializer,
    DecideAlarmSerializer,
    LogAlarmSerializer,
)
from commissioning.models import AlarmOutcome, AlarmSighting, Stage, StageKind, TokenScope
from commissioning.selectors.access import equipment_for
from commissioning.selectors.alarms import alarm_or_404, alarms_of
from commissioning.services.alarms import clear_alarm, decide_alarm, log_alarm


class AlarmFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    stage = django_filters.UUIDFilter(field_name="stage_id")
    stage_kind = django_filters.ChoiceFilter(choices=StageKind.choices, field_name="stage__kind")
    equipment = django_filters.UUIDFilter(field_name="equipment_id")
    outcome = django_filters.ChoiceFilter(choices=AlarmOutcome.choices)
    standing = StandingFilter(field_name="cleared_at", label="Not seen to clear yet, or seen to clear.")
    text = TextFilter("text", "equipment__tag", "system__tag")

    class Meta:
        model = AlarmSighting
        fields: list[str] = []


class Alarms(ListView):
    """Alarm sightings."""

    write_scope = TokenScope.PHONE
    model = AlarmSighting
    serializer_class = AlarmSerializer
    filterset_class = AlarmFilter

    def rows(self) -> QuerySet[AlarmSighting]:
        return alarms_of(self.access)

    @operation("alarms_list", AlarmSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Alarms that somebody saw, and what each turned out to be."""
        return self.listed()

    @creates("alarms_log", LogAlarmSerializer, AlarmSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Log an alarm as the display words it. Until somebody says what it is, it holds the gate."""
        given = self.parsed(LogAlarmSerializer)
        given["stage"] = self.named(stages_for(self), given["stage"], field="stage")
        if given.get("equipment"):
            given["equipment"] = self.named(equipment_for(self.access), given["equipment"], field="equipment")
        words: dict[str, Any] = {"id": None, **given}
        return self.create(log_alarm, model=AlarmSighting, shape=AlarmSerializer, actor=self.actor, **words)


def stages_for(view: ProjectView) -> QuerySet[Stage]:
    rows = Stage.objects.filter(view.access.limit("system__site"), system__project=view.access.project)
    return rows.select_related("system__project", "system__site")


class OneAlarm(DeedView):
    """An alarm sighting."""

    serializer_class = AlarmSerializer

    @operation("alarms_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One alarm."""
        return self.answer(alarm_or_404(access=self.access, id=id))


class DecideAlarm(DeedView):
    """What an alarm turned out to be."""

    serializer_class = DecideAlarmSerializer

    @operation("alarms_decide", AlarmSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Say what it was: explained, expected until a later stage, or genuine."""
        alarm, given = alarm_or_404(access=self.access, id=id), self.parsed()
        if given.get("expected_until"):
            given["expected_until"] = self.named(stages_for(self), given["expected_until"], field="expected_until")
        return self.answer(decide_alarm(actor=self.actor, alarm=alarm, **given), AlarmSerializer)


class ClearAlarm(DeedView):
    """An alarm seen to clear."""

    serializer_class = ClearAlarmSerializer

    @operation("alarms_clear", AlarmSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Somebody saw it clear; said again, nothing changes."""
        alarm = alarm_or_404(access=self.access, id=id)
        return self.answer(clear_alarm(actor=self.actor, alarm=alarm, **self.parsed()), AlarmSerializer)
