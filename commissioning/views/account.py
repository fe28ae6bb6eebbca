"""Sign in, sign out, one's own account and password, and the way in to one's projects."""

from __future__ import annotations

from typing import Any, cast

from allauth.account.adapter import get_adapter
from allauth.account.views import LoginView
from allauth.mfa.models import Authenticator
from allauth.socialaccount.models import SocialAccount
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import SetPasswordForm
from django.contrib.auth.views import LogoutView, PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse, reverse_lazy
from django.views.decorators.cache import never_cache

from commissioning.forms.account import ChangePasswordForm, FirstPasswordForm
from commissioning.models import Role, User
from commissioning.selectors.access import memberships_of
from commissioning.services.personal import record_in_projects
from commissioning.sign_in.second_factor import FACTORS


class SignIn(LoginView):
    """The sign-in page; `next` is kept, and only an address of this product is followed."""

    template_name = "commissioning/account/sign_in.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        more = {"next": self.get_next_url() or "", "company": settings.OIDC_URL and settings.COMPANY_SIGN_IN}
        return {**super().get_context_data(**kwargs), **more}


class SignOut(LogoutView):
    """Ends the session; only by POST. Where the phone's outbox is empty, the browser forgets the product as well."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        answer = super().post(request, *args, **kwargs)
        # The page says so (phone/leaving.js). Without its word nothing is cleared: entries may wait there to be sent.
        if request.POST.get("nothing_waits"):
            answer["Clear-Site-Data"] = '"cache", "storage"'
        return answer


class ChangePassword(PasswordChangeView):
    """One's own password; other devices are signed out. Whoever has none yet sets the first one."""

    template_name = "commissioning/account/password.html"
    success_url = reverse_lazy("account")

    def get_form_class(self) -> type[SetPasswordForm]:  # type: ignore[override]
        return ChangePasswordForm if cast(User, self.request.user).has_usable_password() else FirstPasswordForm

    def form_valid(self, form: SetPasswordForm) -> HttpResponse:  # type: ignore[override]
        answer = super().form_valid(form)  # type: ignore[arg-type]
        user = cast(User, self.request.user)
        user.auth_token_set.all().delete()  # type: ignore[attr-defined]
        UserSession.objects.create_from_request(self.request)
        get_adapter(self.request).send_notification_mail("account/email/password_changed", user)
        record_in_projects(user=user, action="password_changed", words=f"{user} changed their password.")
        messages.success(self.request, "Your password is changed. Other devices and programs must sign in again.")
        return answer


@login_required
@never_cache
def account(request: HttpRequest) -> HttpResponse:
    """One's own ways in: password, second factor, company account, sessions, tokens."""
    user = cast(User, request.user)
    context = {
        "factors": Authenticator.objects.filter(user=user, type__in=FACTORS).count(),
        "sessions": len(UserSession.objects.purge_and_list(user)),
        "tokens": user.auth_token_set.count(),  # type: ignore[attr-defined]
        "company": settings.OIDC_URL and settings.COMPANY_SIGN_IN,
        "connected": SocialAccount.objects.filter(user=user).exists(),
    }
    return render(request, "commissioning/account/account.html", context)


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """One project: its portfolio. Several: a list. None: what to do about it."""
    memberships = list(memberships_of(cast(User, request.user)))
    if len(memberships) == 1:
        return redirect("portfolio", code=memberships[0].project.code)
    projects = [
        {
            "project": membership.project,
            "role": Role(membership.role).label,
            "url": reverse("portfolio", args=[membership.project.code]),
        }
        for membership in memberships
    ]
    context = {"memberships": projects, "sign_out_url": reverse("sign-out")}
    return render(request, "commissioning/account/home.html", context)
