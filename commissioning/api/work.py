"""Background work: its progress, and stopping it; and readings verified again."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

import calcs
from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import StandingFilter
from commissioning.api.lines import lines_for
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.work import (
    AskVerificationSerializer,
    DecideChangeSerializer,
    JobSerializer,
    VerificationChangeSerializer,
    VerificationRunSerializer,
)
from commissioning.errors import InvalidInput
from commissioning.models import Instrument, Job, JobState, VerificationChange, VerificationRun
from commissioning.selectors.access import equipment_for, systems_for
from commissioning.selectors.jobs import job_or_404, jobs_for
from commissioning.selectors.verification import change_or_404, changes_of_run, run_or_404, runs_of
from commissioning.services.jobs import ask_again, cancel
from commissioning.services.verification import ask_verification, decide_change


class JobFilter(django_filters.FilterSet):
    kind = django_filters.CharFilter(max_length=40)
    state = django_filters.ChoiceFilter(choices=JobState.choices)

    class Meta:
        model = Job
        fields: list[str] = []


class Jobs(ListView):
    """Background work."""

    model = Job
    serializer_class = JobSerializer
    filterset_class = JobFilter
    page_order = ("-asked_at", "-id")

    def rows(self) -> QuerySet[Job]:
        return jobs_for(self.access)

    @operation("jobs_list", JobSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Background work, newest first: a manager sees everybody's, others what they asked for."""
        return self.listed()


class OneJob(DeedView):
    """One piece of work."""

    serializer_class = JobSerializer

    @operation("jobs_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """How far it is, and what came of it."""
        return self.answer(job_or_404(access=self.access, id=id))


class CancelJob(DeedView):
    """Stopping work."""

    serializer_class = JobSerializer

    @operation("jobs_cancel", request=None)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Stop work that waits or runs; it writes nothing more."""
        return self.answer(cancel(job=job_or_404(access=self.access, id=id), actor=self.actor))


class AskJobAgain(DeedView):
    """Work put back in the queue."""

    serializer_class = JobSerializer

    @operation("jobs_ask_again", request=None)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Put work that failed or was cancelled back in the queue."""
        return self.answer(ask_again(job=job_or_404(access=self.access, id=id), actor=self.actor))


class VerificationRuns(ListView):
    """Runs over the readings that a change touches."""

    model = VerificationRun
    serializer_class = VerificationRunSerializer
    filter_backends = []
    page_order = ("-asked_at", "-id")

    def rows(self) -> QuerySet[Any]:
        return runs_of(self.access)

    @operation("verification_runs_list", VerificationRunSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Runs, newest first, with how much each changed and what waits for a decision."""
        return self.listed()

    @creates("verification_runs_ask", AskVerificationSerializer, VerificationRunSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Have every standing reading of the scope verified again, in the background."""
        given = self.parsed(AskVerificationSerializer)
        return self.create(
            ask_verification,
            model=VerificationRun,
            shape=VerificationRunSerializer,
            then=lambda run: run_or_404(access=self.access, id=run.pk),
            id=given.pop("id", None),
            actor=self.actor,
            project=self.access.project,
            reason=given.pop("reason"),
            scope=self._scope(given),
        )

    def _scope(self, given: dict[str, Any]) -> dict[str, str]:
        """The records named are there and may be seen."""
        rows: dict[str, QuerySet[Any]] = {
            "system": systems_for(self.access),
            "equipment": equipment_for(self.access),
            "instrument": Instrument.objects.filter(project=self.access.project),
            "line": lines_for(self.access),
        }
        for name in rows.keys() & given.keys():
            self.named(rows[name], given[name], field=name)
        if given.get("calculation", calcs.names()[0]) not in calcs.names():
            raise InvalidInput({"calculation": "There is no calculation of this name."})
        return {name: str(value) for name, value in given.items()}


class OneVerificationRun(DeedView):
    """A run."""

    serializer_class = VerificationRunSerializer

    @operation("verification_runs_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One run; how far it is stands with its job."""
        return self.answer(run_or_404(access=self.access, id=id))


class ChangeFilter(django_filters.FilterSet):
    standing = StandingFilter(field_name="decided_at", label="Waits for a decision, or decided.")

    class Meta:
        model = VerificationChange
        fields: list[str] = []


class VerificationChanges(ListView):
    """What a run changed."""

    model = VerificationChange
    serializer_class = VerificationChangeSerializer
    filterset_class = ChangeFilter

    def rows(self) -> QuerySet[VerificationChange]:
        return changes_of_run(run_or_404(access=self.access, id=self.kwargs["id"]), self.access)

    @operation("verification_runs_changes", VerificationChangeSerializer(many=True))
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """Readings whose result is no longer what it was."""
        return self.listed()


class DecideChange(DeedView):
    """A decision on a changed reading."""

    serializer_class = DecideChangeSerializer

    @operation("verification_changes_decide", VerificationChangeSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Take the new result over, or keep the old one with a reason. A manager's decision."""
        change = change_or_404(access=self.access, id=id)
        done = decide_change(actor=self.actor, change=change, **self.parsed())
        return self.answer(done, VerificationChangeSerializer)
