"""The register as a workbook: template, export, upload, what it would change, and doing it - all or nothing."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from commissioning.errors import ServiceError
from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.register import UploadForm
from commissioning.models import Job, JobState
from commissioning.register_import.archives import Unreadable
from commissioning.register_import.export import export_register
from commissioning.register_import.jobs import KIND
from commissioning.register_import.template import make_template
from commissioning.register_import.uploads import apply_key, apply_upload, look_again, look_at_upload
from commissioning.selectors.access import Access
from commissioning.selectors.jobs import job_or_404, jobs_for
from commissioning.selectors.register import register_counts
from commissioning.services.laying_out import ask_lay_out, job_key, systems_without_lines
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.jobs import GOING_ON, job_words, progress_of, tabs
from commissioning.views.standing import may_work
from commissioning.views.workbooks import TEMPLATE_NAME, register_name, workbook_answer

#: Problems on one page, and rows of a sheet that are spelt out.
PROBLEMS = 200
#: Systems offered at once to be laid out.
LAID_OUT_AT_ONCE = 200
HAND_ADDED = (
    ("site-new", "a site", True),
    ("system-new", "a system", True),
    ("dependency-new", "a dependency", True),
    ("equipment-new", "equipment", False),
    ("supply-new", "a supply point", False),
    ("signal-new", "a signal point", False),
)


def may_import(access: Access) -> bool:
    """A workbook can reach every site, so the manager who brings one in has all of them."""
    return access.is_manager and access.site_ids is None


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The register page; a POST is an upload to be looked at."""
    access = request.access
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid() and (job := _upload(request, form)):
        return redirect("register-plan", code=access.project.code, id=job.pk)
    return _register_page(request, form, status=422 if form.errors else 200)


def _upload(request: ProjectRequest, form: UploadForm) -> Job | None:
    file = form.cleaned_data["file"]
    access = request.access

    def look() -> Job:
        return look_at_upload(actor=access.user, project=access.project, file=file, name=file.name, id=form.record_id)

    try:
        return submit(form, look)
    except Unreadable as error:
        form.add_error("file", error.words)
        return None


def _register_page(request: ProjectRequest, form: UploadForm, *, status: int = 200, lay_out_error: str = "") -> Any:
    access, code = request.access, request.access.project.code
    waiting = list(systems_without_lines(access)[: LAID_OUT_AT_ONCE + 1]) if access.is_manager else []
    hand_added = [
        {"words": words, "url": reverse(name, args=[code])}
        for name, words, managers in HAND_ADDED
        if access.is_manager or (may_work(access) and not managers)
    ]
    context = {
        "form": form,
        "may_import": may_import(access),
        "counts": register_counts(access),
        "imports": [_import_row(job, code) for job in _imports(access)],
        "waiting": waiting[:LAID_OUT_AT_ONCE],
        "more_waiting": len(waiting) > LAID_OUT_AT_ONCE,
        "lay_out_error": lay_out_error,
        "lay_out_form": RepeatSafeForm(),
        "hand_added": hand_added,
        "tabs": tabs(access, "register"),
    }
    return page(request, "commissioning/register/show.html", context, section="project-settings", status=status)


def _imports(access: Access) -> list[Job]:
    return list(jobs_for(access).filter(kind=KIND)[:15]) if may_import(access) else []


def _import_row(job: Job, code: str) -> dict[str, Any]:
    plan = job.pk if job.arguments.get("dry_run") else job.arguments.get("plan")
    url = reverse("register-plan", args=[code, plan]) if plan else reverse("job", args=[code, job.pk])
    return {"job": job, "what": job_words(job), "url": url, "outcome": outcome_words(job)}


def outcome_words(job: Job) -> str:
    """What came of a look or an import, in a few words."""
    if job.state != JobState.DONE:
        return job.error
    result = job.result
    if result.get("problem_count"):
        count = result["problem_count"]
        return f"{count} {'place needs' if count == 1 else 'places need'} correcting"
    added, changed = (sum(sheet[name] for sheet in result.get("sheets", ())) for name in ("added", "changed"))
    if not added and not changed:
        return "nothing to change"
    return f"{added} added, {changed} changed" if result.get("applied") else f"{added} to add, {changed} to change"


@require_GET
@project_view
def template(request: ProjectRequest) -> FileResponse:
    """An empty workbook with a sheet for each part of the register."""
    return workbook_answer(TEMPLATE_NAME, make_template)


@require_GET
@project_view
def export(request: ProjectRequest) -> FileResponse:
    """The register as the person may see it, in the workbook that the import reads."""
    access = request.access
    return workbook_answer(register_name(access), lambda out: export_register(access=access, out=out))


def _plan_job(request: ProjectRequest, id: UUID) -> Job:
    found = job_or_404(access=request.access, id=id)
    if found.kind != KIND or not found.arguments.get("dry_run"):
        raise Http404("There is no such plan.")
    return found


@project_view
def plan(request: ProjectRequest, id: UUID) -> HttpResponse:
    """What an upload would change, row by row, and every problem in it."""
    return _plan_page(request, _plan_job(request, id))


def _plan_page(request: ProjectRequest, job: Job, *, error: str = "", status: int = 200) -> HttpResponse:
    access, code = request.access, request.access.project.code
    applied = Job.objects.filter(project=access.project, key=apply_key(job)).select_related("asked_by").first()
    going_on = next((one for one in (applied, job) if one is not None and one.state in GOING_ON), None)
    result = job.result if job.state == JobState.DONE else {}
    done = applied is not None and applied.state == JobState.DONE and bool(applied.result.get("applied"))
    problems = Paginator(result.get("problems", []), PROBLEMS).get_page(request.GET.get("page", 1))
    context = {
        "job": job,
        "name": job.arguments.get("name", "the workbook"),
        "plan": result,
        "page_obj": problems,
        "applied": applied,
        "done": done,
        "error": error,
        "progress": progress_of(going_on, poll_url=_poll(going_on, code)) if going_on else None,
        "going_on": going_on,
        "may_apply": bool(may_import(access) and applied is None and _applies(result)),
        "may_look_again": may_import(access) and job.state not in GOING_ON and not done and going_on is None,
        "again_form": RepeatSafeForm(),
        "waiting_count": systems_without_lines(access).count() if done and access.is_manager else 0,
    }
    return page(request, "commissioning/register/plan.html", context, section="project-settings", status=status)


def _poll(job: Job, code: str) -> str:
    return f"{reverse('job', args=[code, job.pk])}?part=progress"


def _applies(result: dict[str, Any]) -> bool:
    return bool(result.get("can_apply")) and not result.get("changes_nothing")


@require_POST
@project_view
def apply(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Do what the plan says, all of it or nothing."""
    job = _plan_job(request, id)
    try:
        done = apply_upload(actor=request.access.user, job=job)
    except ServiceError as error:
        return _plan_page(request, job, error=error.words, status=409)
    if done.state == JobState.DONE and done.result.get("applied"):
        messages.success(request, f"Imported: {outcome_words(done)}.")
    return redirect("register-plan", code=request.access.project.code, id=job.pk)


@require_POST
@project_view
def again(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Compare the same upload with the register as it stands now."""
    job = _plan_job(request, id)
    form = RepeatSafeForm(request.POST)
    form.is_valid()
    fresh = look_again(actor=request.access.user, job=job, id=form.record_id)
    return redirect("register-plan", code=request.access.project.code, id=fresh.pk)


@require_POST
@project_view
def lay_out(request: ProjectRequest) -> HttpResponse:
    """Lay procedures out on the systems that were ticked."""
    access = request.access
    form = RepeatSafeForm(request.POST)
    ticked = set(request.POST.getlist("systems"))
    systems = [system for system in systems_without_lines(access) if str(system.pk) in ticked]
    if not form.is_valid():
        return _register_page(request, UploadForm(), status=422)
    # Sent again, the systems that the first send laid out are no longer among those without lines.
    known = jobs_for(access).filter(key=job_key(form.record_id)).first() if form.record_id else None
    job = known or submit(
        form,
        lambda: ask_lay_out(actor=access.user, project=access.project, systems=systems, id=form.record_id),
    )
    if job is None:
        return _register_page(request, UploadForm(), status=422, lay_out_error=str(form.non_field_errors()[0]))
    return redirect("job", code=access.project.code, id=job.pk)
