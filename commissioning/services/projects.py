"""Projects, their settings and their people."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import DecisionRule, Membership, Project, Role, SecondFactorFor, Site, User
from commissioning.rules.stages import stage_plan
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.recounting import ask_recount
from commissioning.services.state_change import state_change
from commissioning.sign_in.second_factor import is_enrolled

SETTINGS = (
    "name",
    "client_name",
    "contractor_name",
    "time_zone",
    "decision_rule",
    "guard_factor",
    "b_blocks_stage",
    "c_blocks_handover",
    "far_end_by_second_person",
    "keep_photo_position",
    "second_factor",
    "escalate_after_days",
    "stage_plans",
)
#: Settings by which the gate decides.
DECIDES_GATES = {"decision_rule", "b_blocks_stage", "c_blocks_handover"}


@state_change()
def create_project(*, manager: User, code: str, name: str, **settings: Any) -> Project:
    """A new project with its first manager."""
    code = code.strip().upper()
    if not code or not code.replace("-", "").isalnum():
        raise InvalidInput({"code": "Choose a short code of letters and digits, such as OMB."})
    if Project.objects.filter(code=code).exists():
        raise InvalidInput({"code": f"{code} is taken. Choose another code."})
    _check_settings(settings)
    project = Project.objects.create(code=code, name=name, **settings)
    Membership.objects.create(project=project, user=manager, role=Role.MANAGER)
    record(project=project, actor=manager, action="project_created", on=project, words=f"Created project {project}.")
    return project


def may_open_projects(user: User) -> bool:
    """Staff start projects: a role exists only inside a project, so none can allow it."""
    return user.is_active and (user.is_staff or user.is_superuser)


def open_project(*, actor: User, code: str, name: str, **settings: Any) -> Project:
    """A new project whose first manager is whoever starts it."""
    if not may_open_projects(actor):
        raise NotAllowed("Staff start projects. Ask whoever runs the product.")
    return create_project(manager=actor, code=code, name=name, **settings)


@state_change()
def change_settings(*, actor: User, project: Project, changes: Mapping[str, Any]) -> Project:
    """Change what a project decides for itself; the audit keeps both values."""
    project = lock_project(project.pk)
    require_manager_of_all(actor=actor, project=project, to="change the project's settings")
    _keep_a_way_in(actor, changes)
    if unknown := set(changes) - set(SETTINGS):
        raise InvalidInput({name: "This is not a setting of a project." for name in sorted(unknown)})
    _check_settings(changes)
    before = {name: getattr(project, name) for name in changes if getattr(project, name) != changes[name]}
    if not before:
        return project
    for name in before:
        setattr(project, name, changes[name])
    project.save(update_fields=list(before))
    record(
        project=project,
        actor=actor,
        action="settings_changed",
        on=project,
        words=f"Changed settings: {', '.join(name.replace('_', ' ') for name in sorted(before))}.",
        data={"before": before, "after": {name: changes[name] for name in before}},
    )
    if before.keys() & DECIDES_GATES:
        ask_recount(actor=actor, project=project)
    return project


def require_manager_of_all(*, actor: User, project: Project, to: str) -> None:
    """A manager of some sites only could otherwise take the others for themselves."""
    if not require(actor=actor, project=project, roles=MANAGERS, site=None, to=to).manages_every_site:
        raise NotAllowed(f"As a manager of some sites only you cannot {to}. A manager of every site can.")


def _keep_a_way_in(actor: User, changes: Mapping[str, Any]) -> None:
    """Whoever asks a second factor of managers has one, or they would shut themselves out with the next page."""
    asked = changes.get("second_factor", SecondFactorFor.NOBODY)
    if asked not in SecondFactorFor.values:
        raise InvalidInput({"second_factor": "Choose nobody, managers or everyone."})
    if asked != SecondFactorFor.NOBODY and not is_enrolled(actor):
        raise InvalidInput(
            {"second_factor": "Set up a second factor for your own account first; this would shut you out."}
        )


def _check_settings(changes: Mapping[str, Any]) -> None:
    problems: dict[str, str] = {}
    if "time_zone" in changes:
        try:
            ZoneInfo(changes["time_zone"])
        except (ZoneInfoNotFoundError, ValueError):
            problems["time_zone"] = "Name a time zone such as Europe/London or UTC."
    if changes.get("decision_rule", DecisionRule.SIMPLE) not in DecisionRule.values:
        problems["decision_rule"] = "Choose simple or guarded acceptance."
    if not 0 <= float(changes.get("guard_factor", 1.0)) <= 3:
        problems["guard_factor"] = "A guard factor lies between 0 and 3."
    days = changes.get("escalate_after_days")
    if days is not None and not 0 <= days <= 365:
        problems["escalate_after_days"] = "Write whole days, 0 to 365, or nothing."
    for kind, plan in changes.get("stage_plans", {}).items():
        try:
            stage_plan(kind, {kind: plan})
        except ValueError as error:
            problems["stage_plans"] = str(error)
    if problems:
        raise InvalidInput(problems)


def check_place(*, project: Project, role: str, sites: Collection[Site] | None, authorised_person: bool) -> None:
    """A place in a project that can be given at all, to a member or by an invitation."""
    if role not in Role.values:
        raise InvalidInput({"role": "Choose manager, field engineer or client."})
    if authorised_person and role == Role.CLIENT:
        raise InvalidInput({"authorised_person": "A client does not sign permissions to energise."})
    if any(site.project_id != project.pk for site in sites or ()):
        raise InvalidInput({"sites": "Choose sites of this project."})


@state_change()
def set_member(
    *,
    actor: User,
    project: Project,
    user: User,
    role: str,
    sites: Collection[Site] | None = None,
    authorised_person: bool = False,
    company: str = "",
) -> Membership:
    """Give a person a place in the project, or change it. `sites` None: all of them."""
    project = lock_project(project.pk)
    require_manager_of_all(actor=actor, project=project, to="change who is a member")
    check_place(project=project, role=role, sites=sites, authorised_person=authorised_person)
    standing = Membership.objects.filter(project=project, user=user).first()
    if standing and (role != Role.MANAGER or sites is not None):
        _keep_a_manager(project, standing)
    membership, _ = Membership.objects.update_or_create(
        project=project,
        user=user,
        defaults={
            "role": role,
            "all_sites": sites is None,
            "authorised_person": authorised_person,
            "company": company,
            "left_at": None,
        },
    )
    membership.sites.set(sites or [])
    record(
        project=project,
        actor=actor,
        action="member_set",
        on=membership,
        words=f"{user} is {Role(role).label}" + (", authorised person." if authorised_person else "."),
        data={"role": role, "authorised_person": authorised_person, "sites": [site.code for site in sites or ()]},
    )
    return membership


@state_change()
def remove_member(*, actor: User, membership: Membership) -> Membership:
    """A person leaves the project: they see nothing of it any more; what they recorded stays theirs."""
    project = lock_project(membership.project_id)
    require_manager_of_all(actor=actor, project=project, to="remove a member")
    _keep_a_manager(project, membership)
    membership.left_at = timezone.now()
    membership.save(update_fields=["left_at"])
    record(
        project=project, actor=actor, action="member_left", on=membership, words=f"{membership.user} left the project."
    )
    return membership


def _keep_a_manager(project: Project, leaving: Membership) -> None:
    """Somebody has to be able to change who is a member."""
    managers = Membership.objects.filter(project=project, role=Role.MANAGER, all_sites=True, left_at__isnull=True)
    if managers.filter(pk=leaving.pk).exists() and not managers.exclude(pk=leaving.pk).exists():
        raise Conflict("The project needs at least one manager of every site. Name another first.")
