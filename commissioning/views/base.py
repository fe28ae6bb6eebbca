"""What every page of a project shares: who is asking, the navigation, and refusals in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, cast
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django_htmx.middleware import HtmxDetails

from commissioning.errors import (
    Busy,
    Conflict,
    InvalidInput,
    NotAllowed,
    Refused,
    SecondFactorNeeded,
    ServiceError,
    WrongSignature,
)
from commissioning.models import Role, Site, System, User
from commissioning.rules.safety import EnergyState, energy_state
from commissioning.selectors.access import Access, access_by_code, memberships_of
from commissioning.selectors.notices import with_unseen
from commissioning.selectors.second_factor import lacks_second_factor
from commissioning.sign_in.attempts import count_wrong_signature
from commissioning.views.links import blocker_row, page_url

#: Label, URL name, URL names of the pages that belong to it.
NAVIGATION = (
    ("Portfolio", "portfolio"),
    ("Punch list", "punch-list"),
    ("Alarms", "alarms"),
    ("Signals", "signals"),
    ("Recordings", "recordings"),
    ("Instruments", "instruments"),
    ("Procedures", "procedures"),
    ("Dossiers", "dossiers"),
    ("Calculations", "calculations"),
    ("Settings", "project-settings"),
)


class ProjectRequest(HttpRequest):
    """A request to a page of a project: `access` says who asks and what they may see."""

    access: Access
    htmx: HtmxDetails


def project_view(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A page under /p/<code>/: signed in, a member (else 404), refusals of services answered in words."""

    @login_required
    @wraps(view)
    def inner(request: HttpRequest, code: str, *args: Any, **kwargs: Any) -> HttpResponseBase:
        access = access_by_code(user=cast(User, request.user), code=code)
        if lacks_second_factor(access):
            return second_factor_page(request, access)
        request.access = access  # type: ignore[attr-defined]
        with timezone.override(zone_named(access.project.time_zone)):
            try:
                return view(request, *args, **kwargs)
            except ServiceError as error:
                return refusal_page(request, error)  # type: ignore[arg-type]

    return inner


def second_factor_page(request: HttpRequest, access: Access) -> HttpResponse:
    """The project asks for a second factor that the person does not have yet: say so, and lead there."""
    context = {"project": access.project, "words": SecondFactorNeeded().words, "projects": project_choices(access)}
    return render(request, "commissioning/account/second_factor_needed.html", context, status=403)


def zone_named(*names: str) -> ZoneInfo:
    """The first of these zones that exists, else UTC: a mistyped zone must not hide a page."""
    for name in names:
        try:
            if name:
                return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            continue
    return ZoneInfo("UTC")


def use_site_zone(site: Site) -> None:
    """Read and show times in the zone of the site for the rest of this page."""
    timezone.activate(zone_named(site.time_zone, site.project.time_zone))


def page(
    request: HttpRequest,
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    section: str = "",
    system: System | None = None,
    status: int = 200,
) -> HttpResponse:
    """Render a page of the project with its navigation; `system` adds the banner of its recorded energy state."""
    access: Access = request.access  # type: ignore[attr-defined]
    code = access.project.code
    choices = project_choices(access)
    shared: dict[str, Any] = {
        "access": access,
        "project": access.project,
        "code": code,
        "role": Role(access.role).label,
        "projects": choices,
        "unseen": next((choice["unseen"] for choice in choices if choice["current"]), 0),
        "navigation": navigation(code, section),
        "sign_out_url": reverse("sign-out"),
        "zone": timezone.get_current_timezone_name(),
    }
    if system is not None:
        shared |= energy_context(system, code=code)
    return render(request, template, {**shared, **(context or {})}, status=status)


def project_choices(access: Access) -> list[dict[str, Any]]:
    """The projects that the person can change to, each with how many notices are new: one query."""
    return [
        {
            "label": membership.project.name,
            "url": reverse("portfolio", args=[membership.project.code]),
            "current": membership.project_id == access.project.pk,
            "unseen": membership.unseen,  # type: ignore[attr-defined]
        }
        for membership in with_unseen(memberships_of(access.user))
    ]


def navigation(code: str, section: str) -> list[tuple[str, str, bool]]:
    """The pages of a project: label, address, whether it is this one."""
    found = [(label, page_url(name, code), name == section) for label, name in NAVIGATION]
    return [entry for entry in found if entry[1]]


def energy_context(system: System, *, code: str) -> dict[str, Any]:
    """The banner's words: LIVE, recorded isolated, or not recorded; and what is recorded of a battery."""
    supplies = list(system.supplies.all())
    words = {
        EnergyState.LIVE: "live",
        EnergyState.RECORDED_ISOLATED: "isolated",
        EnergyState.NOT_RECORDED: "not recorded",
    }
    batteries = [supply.state for supply in supplies if supply.kind == "battery"]
    battery = {"isolated": "open", "released": "closed", "not_recorded": "not recorded"}
    worst = next((state for state in ("released", "not_recorded", "isolated") if state in batteries), "")
    return {
        "energy": words[energy_state(supply.state for supply in supplies)],
        "battery": battery.get(worst, ""),
        "energy_system": system.tag,
        "energy_url": reverse("supplies", args=[code, system.pk]),
        "system": system,
    }


def refusal_page(request: HttpRequest, error: ServiceError) -> HttpResponse:
    """A service said no outside a form: say why, and where to go."""
    access: Access = request.access  # type: ignore[attr-defined]
    status = {NotAllowed: 403, Conflict: 409, Busy: 429, Refused: 422, InvalidInput: 400}.get(type(error), 400)
    blockers = [
        blocker_row(b, code=access.project.code, role=access.role, authorised_person=access.authorised_person)
        for b in getattr(error, "blockers", ())
    ]
    context = {"words": error.words, "blockers": blockers, "back": own_referer(request)}
    return page(request, "commissioning/refusal.html", context, status=status)


def own_referer(request: HttpRequest) -> str:
    """The page of this product that the person came from, or nothing: a foreign address is never offered as a link."""
    came_from = request.headers.get("referer", "")
    known = url_has_allowed_host_and_scheme(came_from, {request.get_host()}, require_https=request.is_secure())
    return came_from if known else ""


def submit(form: forms.Form, act: Callable[[], Any]) -> Any:
    """Run a service for a valid form; what it refuses stands beside the field, and what was typed stays.

    Answers None when it was refused. Blockers, if any, are left on `form.blockers` for the template.
    """
    form.blockers = ()  # type: ignore[attr-defined]
    try:
        return act()
    except InvalidInput as error:
        if isinstance(error, WrongSignature):
            count_wrong_signature(error.signer)
        for name, words in error.fields.items():
            form.add_error(name if name in form.fields else None, words)
    except Refused as error:
        form.blockers = error.blockers  # type: ignore[attr-defined]
        form.add_error(None, error.words)
    except (Conflict, NotAllowed) as error:
        form.add_error(None, error.words)
    return None
