"""Sessions, tokens of the API and passkeys of one's own account."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast

from allauth.account.decorators import reauthentication_required
from allauth.mfa.webauthn.internal import auth as webauthn
from allauth.mfa.webauthn.views import AddWebAuthnView
from allauth.usersessions.internal.flows.sessions import end_other_sessions, end_sessions
from allauth.usersessions.models import UserSession
from allauth.usersessions.views import ListUserSessionsView
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from commissioning.forms.account import SignOutElsewhereForm
from commissioning.forms.entry import TokenForm
from commissioning.models import ApiToken, User
from commissioning.selectors.access import memberships_of
from commissioning.services.api_tokens import make_token, take_back, take_back_all
from commissioning.services.personal import record_in_projects
from commissioning.views.base import submit


class Sessions(ListUserSessionsView):
    """Where one is signed in, and signing out there."""

    form_class = SignOutElsewhereForm

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        for session in context["sessions"]:
            session.device = device_of(session.user_agent)
        return {**context, "show_last_seen_at": True}

    def form_valid(self, form: SignOutElsewhereForm) -> HttpResponse:
        user = cast(User, self.request.user)
        if one := form.cleaned_data["one"]:
            # Only one's own: somebody else's key finds nothing.
            end_sessions(self.request, UserSession.objects.filter(user=user, pk=one))
            said = "That session is signed out."
        else:
            end_other_sessions(self.request, user)
            said = "Every other session is signed out."
        if form.cleaned_data["tokens"]:
            number = take_back_all(user=user)
            said += f" Tokens taken back: {number}."
        record_in_projects(user=user, action="signed_out_elsewhere", words=f"{user} signed out elsewhere.")
        messages.success(self.request, said)
        return redirect("usersessions_list" if self.request.user.is_authenticated else "sign-in")


def device_of(agent: str) -> str:
    """What a person calls it that calls itself so."""
    if not agent.startswith("Mozilla/"):
        return "a program"
    return "a phone or tablet" if "Mobile" in agent or "Tablet" in agent or "Android" in agent else "a computer"


class AddPasskey(AddWebAuthnView):
    """A new passkey: kept by what holds it, and used only after that has checked its person."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        context["js_data"] = {"creation_options": webauthn.begin_registration(cast(User, self.request.user), True)}
        return context


@login_required
@never_cache
def tokens(request: HttpRequest) -> HttpResponse:
    """One's own tokens: what each may do, until when, and when it was last used."""
    rows = ApiToken.objects.filter(user=cast(User, request.user)).select_related("project")
    return render(request, "commissioning/account/tokens.html", {"tokens": rows})


@never_cache
@reauthentication_required(app="allauth.mfa")
def token_new(request: HttpRequest) -> HttpResponse:
    """Make a token; what it reads is on the page this once."""
    user = cast(User, request.user)
    projects = {one.project.code: one.project for one in memberships_of(user)}
    form = TokenForm(request.POST or None, projects=[(code, str(found)) for code, found in projects.items()])
    if form.is_valid() and (made := submit(form, lambda: _make(user, form, projects))):
        return render(request, "commissioning/account/token_made.html", {"token": made[0], "secret": made[1]})
    status = 422 if form.is_bound else 200
    return render(request, "commissioning/account/token_new.html", {"form": form}, status=status)


def _make(user: User, form: TokenForm, projects: dict[str, Any]) -> tuple[ApiToken, str]:
    given = form.cleaned_data
    return make_token(
        user=user,
        name=given["name"],
        scope=given["scope"],
        lasts=timedelta(days=given["days"]),
        project=projects.get(given["project"]),
    )


@require_POST
@login_required
def token_take_back(request: HttpRequest, key: str) -> HttpResponse:
    """The token works no more."""
    if not take_back(user=cast(User, request.user), key=key):
        raise Http404("There is no such token.")
    messages.success(request, "The token is taken back. Whatever used it is refused from now on.")
    return redirect("tokens")
