"""What is new for me? The notices of a project, and what a person wants to be told of."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from commissioning.forms.notices import ChoiceForm
from commissioning.models import Membership, Notice, NoticeKind, PersonalClock, User
from commissioning.rules.notices import ALL_SWITCHES
from commissioning.selectors.notices import notices_for, page_of
from commissioning.services import notices
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.links import RECORD_URLS, page_url, record_url


@require_safe
@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The newest first; what is new is marked until it was followed or ticked off."""
    rows, following = page_of(request.access, before=_uuid(request.GET.get("before")))
    code = request.access.project.code
    context = {
        "rows": [{"notice": row, "about": NoticeKind(row.kind).label} for row in rows],
        "newest": rows[0].pk if rows else "",
        "any_new": any(row.seen_at is None for row in rows),
        "next": f"{reverse('notices', args=[code])}?before={following}" if following else "",
    }
    if request.htmx and request.GET.get("before"):
        return render(request, "commissioning/notices/rows.html", {**context, "code": code})
    return page(request, "commissioning/notices/list.html", context)


@require_safe
@project_view
def follow(request: ProjectRequest, id: UUID) -> HttpResponse:
    """To what a notice is about; it is seen from then on."""
    access = request.access
    notice = get_object_or_404(notices_for(access), pk=id)
    notices.look_at(membership=access.membership, id=notice.pk)
    return HttpResponseRedirect(_address(notice, access.project.code))


@require_POST
@project_view
def seen(request: ProjectRequest) -> HttpResponse:
    """All that stood on the page is seen; what came meanwhile stays new."""
    notices.look_at_all(membership=request.access.membership, newest=_uuid(request.POST.get("newest")))
    return redirect("notices", code=request.access.project.code)


@project_view
def choice(request: ProjectRequest) -> HttpResponse:
    """Everything is told until it is switched off, by each person for each project; the hour holds for all of them."""
    membership, user = request.access.membership, request.access.user
    form = ChoiceForm(
        request.POST or None,
        off=notices.switched_off(membership),
        clock=PersonalClock.objects.filter(user=user).first(),
        zone=request.access.project.time_zone,
    )
    if request.method == "POST" and form.is_valid() and submit(form, lambda: _keep(form, membership, user)):
        off = len(ALL_SWITCHES) - len(form.wanted())
        messages.success(request, f"Kept: {off} switched off." if off else "Kept: you are told of everything.")
        return redirect("notices", code=request.access.project.code)
    status = 422 if form.is_bound and form.errors else 200
    return page(request, "commissioning/notices/choice.html", {"form": form}, status=status)


def _keep(form: ChoiceForm, membership: Membership, user: User) -> bool:
    typed = form.cleaned_data
    notices.set_clock(user=user, time_zone=typed["time_zone"], hour=typed["hour"])
    notices.choose(membership=membership, wanted=form.wanted())
    return True


def _address(notice: Notice, code: str) -> str:
    if notice.link_kind in RECORD_URLS:
        found = record_url(code=code, kind=notice.link_kind, id=notice.link_id)
    else:
        found = page_url(notice.link_kind, code)
        found += f"?{notice.link_id}" if found and notice.link_id else ""
    return found or reverse("notices", args=[code])


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None
