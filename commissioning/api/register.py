"""The register as a workbook: template, download, dry run, and doing it all or not at all; and procedures laid out."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import FileResponse, Http404
from drf_spectacular.types import OpenApiTypes
from rest_framework import status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.register import (
    ApplyPlanSerializer,
    LayOutSerializer,
    RegisterJobSerializer,
    UploadRegisterSerializer,
)
from commissioning.api.shapes.work import JobSerializer
from commissioning.errors import Conflict, InvalidInput
from commissioning.models import Job, JobState
from commissioning.models.base import new_id
from commissioning.register_import.archives import Unreadable
from commissioning.register_import.export import export_register
from commissioning.register_import.jobs import KIND
from commissioning.register_import.template import make_template
from commissioning.register_import.uploads import apply_upload, look_at_upload, look_key
from commissioning.selectors.access import systems_for
from commissioning.selectors.jobs import job_or_404
from commissioning.services.laying_out import ask_lay_out, job_key
from commissioning.views.workbooks import TEMPLATE_NAME, XLSX, register_name, workbook_answer

_WORKBOOK: dict[Any, Any] = {(200, XLSX): OpenApiTypes.BINARY}


class RegisterTemplate(DeedView):
    """The workbook to fill in."""

    @operation("register_template", _WORKBOOK)
    def get(self, request: Request, code: str) -> FileResponse:
        """An empty workbook with a sheet for each part of the register, its help and its allowed values."""
        return workbook_answer(TEMPLATE_NAME, make_template)


class RegisterWorkbook(DeedView):
    """The register as a workbook."""

    @operation("register_workbook", _WORKBOOK)
    def get(self, request: Request, code: str) -> FileResponse:
        """The register as you may see it, in the workbook that a dry run reads: sent back, it changes nothing."""
        access = self.access
        return workbook_answer(register_name(access), lambda out: export_register(access=access, out=out))


class RegisterPlans(DeedView):
    """Uploads to be looked at."""

    serializer_class = UploadRegisterSerializer
    parser_classes = [MultiPartParser]

    @creates("register_look", {"multipart/form-data": UploadRegisterSerializer}, RegisterJobSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Upload a register for a dry run, which writes nothing. A large one is looked at in the background."""
        given = self.parsed()
        key, file = given.get("id") or new_id(), given["file"]
        known = Job.objects.filter(project=self.access.project, key=look_key(key)).exists()
        try:
            job = look_at_upload(
                actor=self.actor, project=self.access.project, file=file, name=file.name or "register", id=key
            )
        except Unreadable as error:
            raise InvalidInput({"file": error.words}) from error
        return self.created(job, RegisterJobSerializer, known=known)


class OneRegisterPlan(DeedView):
    """An upload that is looked at."""

    serializer_class = RegisterJobSerializer

    @operation("register_plan")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """How far the look is; once it is done, what the import would do and every problem by sheet, row and column."""
        return self.answer(_plan_job(self, id))


class ApplyRegisterPlan(DeedView):
    """A plan that is carried out."""

    serializer_class = ApplyPlanSerializer

    @operation("register_apply", {200: RegisterJobSerializer, 202: RegisterJobSerializer})
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Do all that the plan of this digest says, or nothing; large ones in the background. Again changes nothing."""
        given = self.parsed()
        job = apply_upload(actor=self.actor, job=_plan_job(self, id), digest=given["digest"])
        if job.state == JobState.FAILED:
            raise Conflict(job.error)
        if job.state == JobState.DONE and not job.result["applied"]:
            raise Conflict("The register was changed since, and the file no longer fits it. Upload it for a new look.")
        going_on = job.state in (JobState.WAITING, JobState.RUNNING)
        body = RegisterJobSerializer(job, context=self.get_serializer_context()).data
        return Response(body, status=status.HTTP_202_ACCEPTED if going_on else status.HTTP_200_OK)


class LayOut(DeedView):
    """Procedures laid out on many systems."""

    serializer_class = LayOutSerializer

    @creates("register_lay_out", LayOutSerializer, JobSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Lay the procedure of its kind out on each system; more than three in the background. A manager's decision."""
        given = self.parsed()
        key, wanted = given.get("id") or new_id(), set(given["systems"])
        found = list(systems_for(self.access).filter(pk__in=wanted))
        if len(found) < len(wanted):
            raise InvalidInput({"systems": "Not all of these are systems of this project that are yours to see."})
        known = Job.objects.filter(project=self.access.project, key=job_key(key)).exists()
        job = ask_lay_out(actor=self.actor, project=self.access.project, systems=found, id=key)
        return self.created(job, JobSerializer, known=known)


def _plan_job(view: DeedView, id: UUID) -> Job:
    """The job that looked at an upload."""
    job = job_or_404(access=view.access, id=id)
    if job.kind != KIND or not job.arguments.get("dry_run"):
        raise Http404("There is no such plan.")
    return job
