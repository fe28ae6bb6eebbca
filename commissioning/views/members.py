"""Who is in the project, in which role and for which sites."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from commissioning.errors import InvalidInput
from commissioning.forms.member import MemberForm, NewMemberForm
from commissioning.models import Membership
from commissioning.selectors.access import Access
from commissioning.selectors.members import member_or_404, members_of, user_named
from commissioning.services.invitations import open_ones
from commissioning.services.projects import remove_member, set_member
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.jobs import tabs


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Everybody in the project; those who left stand below."""
    access = request.access
    everybody = list(members_of(access))
    context = {
        "rows": [_row(member, access) for member in everybody if member.left_at is None],
        "left": [member for member in everybody if member.left_at is not None],
        "invited": _invited(access) if access.manages_every_site else [],
        "may_edit": access.manages_every_site,
        "tabs": tabs(access, "members"),
    }
    return page(request, "commissioning/members/list.html", context, section="project-settings")


def _row(member: Membership, access: Access) -> dict[str, Any]:
    """A member, and their sites as far as the reader sees those."""
    sites = list(member.sites.all())
    seen = [site.code for site in sites if access.covers(site.pk)]
    words = "every site" if member.all_sites else ", ".join(seen)
    if not member.all_sites and len(seen) < len(sites):
        words = f"{words}, and others" if seen else "other sites"
    return {"member": member, "sites": words or "none"}


def _invited(access: Access) -> list[dict[str, Any]]:
    """Invitations that wait for an answer, and those that lapsed."""
    rows = open_ones(access.project).select_related("invited_by").prefetch_related("sites")
    return [
        {
            "invitation": one,
            "sites": "every site" if one.all_sites else ", ".join(site.code for site in one.sites.all()),
            "lapsed": one.expires_at < timezone.now(),
        }
        for one in rows
    ]


def _sites(access: Access) -> Any:
    return access.project.sites.order_by("code")


@project_view
def new(request: ProjectRequest) -> HttpResponse:
    """Give somebody who can sign in a place in the project."""
    access = request.access
    form = NewMemberForm(request.POST or None, sites=_sites(access))
    if form.is_valid() and (member := submit(form, lambda: _add(access, form))):
        messages.success(request, f"{member.user} is a member now.")
        return redirect("members", code=access.project.code)
    context = {
        "form": form,
        "may_edit": access.manages_every_site,
        "heading": "Add a member",
        "verb": "add them",
        "back": reverse("members", args=[access.project.code]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/members/form.html", context, section="project-settings", status=status)


def _add(access: Access, form: NewMemberForm) -> Membership:
    # Whoever may not add anybody learns nothing about who has an account.
    user = user_named(form.cleaned_data["who"]) if access.manages_every_site else access.user
    if access.manages_every_site and members_of(access).filter(user=user, left_at__isnull=True).exists():
        raise InvalidInput({"who": f"{user} is a member already. Choose them in the list to change their place."})
    return set_member(actor=access.user, project=access.project, user=user, **form.place())


@project_view
def member(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One person's place: change it, or let them go."""
    access = request.access
    found = member_or_404(access=access, id=id)
    initial = {
        "role": found.role,
        "which_sites": "all" if found.all_sites else "some",
        "sites": [site.pk for site in found.sites.all()],
        "authorised_person": found.authorised_person,
        "company": found.company,
    }
    form = MemberForm(request.POST or None, sites=_sites(access), initial=initial)
    if form.is_valid() and submit(
        form,
        lambda: set_member(actor=access.user, project=access.project, user=found.user, **form.place()),
    ):
        messages.success(request, f"{found.user}'s place is kept.")
        return redirect("members", code=access.project.code)
    context = {
        "form": form,
        "member": found,
        "row": _row(found, access),
        "may_edit": access.manages_every_site,
        "heading": str(found.user),
        "verb": "let them back in" if found.left_at else "keep it",
        "back": reverse("members", args=[access.project.code]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/members/form.html", context, section="project-settings", status=status)


@require_POST
@project_view
def leave(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The person leaves the project; what they recorded stays theirs."""
    access = request.access
    found = member_or_404(access=access, id=id)
    remove_member(actor=access.user, membership=found)
    messages.success(request, f"{found.user} left the project.")
    if found.user_id == access.user.pk:
        return redirect("home")
    return redirect("members", code=access.project.code)
