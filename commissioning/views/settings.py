"""What a project decides for itself, and starting a new one."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from commissioning.forms.project import ProjectForm, SettingsForm
from commissioning.models import Project, StageKind, SystemKind, User
from commissioning.rules.stages import stage_plan
from commissioning.services.projects import SETTINGS, change_settings, may_open_projects, open_project
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.jobs import tabs


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """All settings with what each means; a manager changes them, everybody else reads them."""
    access = request.access
    project = access.project
    initial = {name: getattr(project, name) for name in SETTINGS if name != "stage_plans"}
    initial["guard_factor"] = f"{project.guard_factor:g}"
    form = SettingsForm(request.POST or None, project=project, initial=initial)
    if form.is_valid() and submit(
        form, lambda: change_settings(actor=access.user, project=project, changes=form.changes())
    ):
        messages.success(request, "The settings are kept.")
        return redirect("project-settings", code=project.code)
    context = {
        "form": form,
        "may_edit": access.manages_every_site,
        "facts": _facts(project, form),
        "plans": _plans(project),
        "tabs": tabs(access, "project-settings"),
        "may_open": may_open_projects(access.user),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/settings/show.html", context, section="project-settings", status=status)


def _facts(project: Project, form: SettingsForm) -> list[dict[str, str]]:
    """The settings for those who only read them."""
    return [
        {
            "label": str(form.fields[name].label or name.replace("_", " ").capitalize()),
            "value": _value_words(project, name),
            "help": str(form.fields[name].help_text),
        }
        for name in SETTINGS
        if name != "stage_plans"
    ]


def _value_words(project: Project, name: str) -> str:
    value = getattr(project, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "decision_rule":
        return project.get_decision_rule_display()
    if name == "escalate_after_days":
        return "not told" if value is None else f"{value} days"
    if name == "second_factor":
        return project.get_second_factor_display()
    return f"{value:g}" if isinstance(value, float) else str(value)


def _plans(project: Project) -> list[dict[str, Any]]:
    return [
        {
            "kind": label,
            "stages": [StageKind(stage).label for stage in stage_plan(kind, project.stage_plans)],
        }
        for kind, label in SystemKind.choices
    ]


@login_required
def new(request: HttpRequest) -> HttpResponse:
    """Start a project; whoever starts it is its first manager."""
    user = cast(User, request.user)
    form = ProjectForm(request.POST or None)
    allowed = may_open_projects(user)
    if form.is_valid() and (project := submit(form, lambda: open_project(actor=user, **form.cleaned_data))):
        messages.success(request, f"{project.code} is there, and you are its manager. Next: the register.")
        return redirect("register", code=project.code)
    context = {"form": form, "allowed": allowed, "sign_out_url": reverse("sign-out"), "back": reverse("home")}
    status = 403 if not allowed else 422 if form.is_bound else 200
    return render(request, "commissioning/settings/new.html", context, status=status)
