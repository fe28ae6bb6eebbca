"""Invitations: a manager makes, sends and withdraws them; whoever opens the link comes in."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from commissioning.errors import ServiceError
from commissioning.forms.entry import InviteForm, NewAccountForm
from commissioning.models import Invitation, Role, User
from commissioning.selectors.access import Access
from commissioning.services import invitations
from commissioning.sign_in.company import INVITATION, invitation_of
from commissioning.views.base import ProjectRequest, page, project_view, submit


@project_view
def new(request: ProjectRequest) -> HttpResponse:
    """Ask somebody into the project by mail."""
    access = request.access
    form = InviteForm(request.POST or None, sites=access.project.sites.order_by("code"))
    if form.is_valid() and (made := submit(form, lambda: _invite(access, form))):
        _say_sent(request, made)
        return redirect("members", code=access.project.code)
    context = {
        "form": form,
        "may_edit": access.manages_every_site,
        "heading": "Invite somebody",
        "verb": "send the invitation",
        "back": reverse("members", args=[access.project.code]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/members/form.html", context, section="project-settings", status=status)


def _invite(access: Access, form: InviteForm) -> Invitation:
    email = form.cleaned_data["email"]
    return invitations.invite(actor=access.user, project=access.project, email=email, **form.place())


@require_POST
@project_view
def again(request: ProjectRequest, id: UUID) -> HttpResponse:
    """A new link to the same address."""
    found = invitations.send_again(actor=request.access.user, invitation=_found(request.access, id))
    _say_sent(request, found)
    return redirect("members", code=request.access.project.code)


@require_POST
@project_view
def withdraw(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The link opens nothing any more."""
    found = invitations.withdraw(actor=request.access.user, invitation=_found(request.access, id))
    messages.success(request, f"The invitation to {found.email} is withdrawn.")
    return redirect("members", code=request.access.project.code)


def _found(access: Access, id: UUID) -> Invitation:
    found = Invitation.objects.filter(project=access.project, pk=id).first()
    if found is None:
        raise Http404("There is no such invitation.")
    return found


def _say_sent(request: HttpRequest, invitation: Invitation) -> None:
    if invitation.sent_at:
        messages.success(request, f"The invitation is on its way to {invitation.email}.")
    else:
        messages.warning(request, f"The mail to {invitation.email} could not be handed over. Send it again later.")


@never_cache
def open_link(request: HttpRequest, id: UUID, secret: str) -> HttpResponse:
    """The mailed link: what it carries goes into the session, so that no address shows it any more."""
    if invitations.open_one(id=id, secret=secret) is None:
        return _gone(request)
    request.session[INVITATION] = [str(id), secret]
    return redirect("invitation")


@sensitive_post_parameters("password", "again")
@never_cache
def show(request: HttpRequest) -> HttpResponse:
    """Who invites to what; join with the account at hand, or make one."""
    key = invitation_of(request)
    found = invitations.open_one(id=key[0], secret=key[1]) if key else None
    if key is None or found is None:
        return _gone(request)
    has_account = User.objects.filter(email__iexact=found.email).exists()
    form = NewAccountForm(request.POST if request.method == "POST" else None, initial={"username": found.email})
    if request.method == "POST":
        if request.user.is_authenticated:
            return _join(request, key, found)
        if form.is_valid() and (made := submit(form, lambda: _new_account(key, form))):
            return _come_in(request, made, found)
    context: dict[str, Any] = {
        "invitation": found,
        "role": Role(found.role).label,
        "sites": None if found.all_sites else [site.code for site in found.sites.all()],
        "form": form,
        "has_account": has_account,
        "company": settings.OIDC_URL and settings.COMPANY_SIGN_IN,
        "sign_in": f"{reverse('sign-in')}?next={reverse('invitation')}",
    }
    status = 422 if form.is_bound else 200
    return render(request, "commissioning/invitations/open.html", context, status=status)


def _join(request: HttpRequest, key: tuple[str, str], invitation: Invitation) -> HttpResponse:
    try:
        invitations.accept(id=key[0], secret=key[1], user=cast(User, request.user))
    except ServiceError as error:
        return render(request, "commissioning/invitations/gone.html", {"words": error.words}, status=409)
    request.session.pop(INVITATION, None)
    messages.success(request, f"You are in: {invitation.project.name}.")
    return redirect("portfolio", code=invitation.project.code)


def _new_account(key: tuple[str, str], form: NewAccountForm) -> User:
    given = form.cleaned_data
    return invitations.accept_as_new(
        id=key[0], secret=key[1], username=given["username"], name=given["name"], password=given["password"]
    )


def _come_in(request: HttpRequest, user: User, invitation: Invitation) -> HttpResponse:
    request.session.pop(INVITATION, None)
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    messages.success(request, f"Your account is made, and you are in: {invitation.project.name}.")
    return redirect("portfolio", code=invitation.project.code)


def _gone(request: HttpRequest) -> HttpResponse:
    return render(request, "commissioning/invitations/gone.html", {"words": invitations.GONE}, status=410)
