"""Every way energy gets in: what is recorded of it, isolating, permitting and releasing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from commissioning.forms.stage import WithdrawForm
from commissioning.forms.supply import IsolateForm, PermissionForm, ReleaseForm
from commissioning.models import PermissionToEnergise, Stage, SupplyPoint
from commissioning.rules.gate import permitted
from commissioning.rules.safety import BATTERY_WORDS, permission_blockers
from commissioning.rules.stages import DEAD_STAGES
from commissioning.selectors.facts import permission_fact, stage_facts
from commissioning.selectors.supplies import changes_of, permissions_for, permissions_of
from commissioning.selectors.system import (
    permission_or_404,
    stage_or_404,
    supply_or_404,
    system_or_404,
    system_standing,
)
from commissioning.services.signing import signature_holds
from commissioning.services.supplies import isolate_supply, release_supply, sign_permission, withdraw_permission
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone
from commissioning.views.standing import may_work, rows


def _supply(request: ProjectRequest, id: UUID) -> SupplyPoint:
    found = supply_or_404(access=request.access, id=id)
    use_site_zone(found.system.site)
    return found


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The supplies of a system with what is recorded of each, and the permissions that name them."""
    access, code = request.access, request.access.project.code
    system = system_or_404(access=access, id=id)
    use_site_zone(system.site)
    standing = system_standing(system)
    facts = standing.stages[0].facts if standing.stages else None
    now = timezone.now()
    supplies = [
        {
            "supply": supply,
            "url": reverse("supply", args=[code, supply.pk]),
            "permitted": bool(facts and permitted(facts.permissions, str(supply.pk), now)),
        }
        for supply in system.supplies.select_related("changed_by").order_by("tag")
    ]
    in_hand = standing.in_hand
    energises = in_hand is not None and in_hand.facts.state == "started" and in_hand.stage.kind not in DEAD_STAGES
    has_battery = system.supplies.filter(kind="battery").exists()
    context = {
        "supplies": supplies,
        "permissions": [_permission_row(row, now) for row in permissions_of(system)],
        "in_hand": in_hand,
        "may_work": may_work(access),
        "permission_url": reverse("permission-new", args=[code, in_hand.stage.pk]) if in_hand and energises else "",
        "changes": changes_of(system=system)[:30],
        "battery_words": [BATTERY_WORDS] if has_battery else [],
    }
    return page(request, "commissioning/supplies/list.html", context, section="portfolio", system=system)


def _permission_row(permission: PermissionToEnergise, now: Any) -> dict[str, Any]:
    fact = permission_fact(permission, stage_kind=permission.stage.kind)
    state = "withdrawn" if fact.withdrawn else "stands" if fact.stands(now) else "lapsed"
    if now < fact.valid_from and not fact.withdrawn:
        state = "not begun"
    return {"permission": permission, "state": state}


def _supply_page(
    request: ProjectRequest,
    supply: SupplyPoint,
    *,
    isolate: IsolateForm | None = None,
    release: ReleaseForm | None = None,
    status: int = 200,
) -> HttpResponse:
    now = timezone.now()
    permissions = permissions_for(supply=supply, now=now)
    form = release or isolate
    context = {
        "supply": supply,
        "changes": changes_of(supply=supply),
        "may_work": may_work(request.access),
        "refused": form.non_field_errors() if form and not may_work(request.access) else (),
        "isolate_form": isolate or IsolateForm(),
        "release_form": release or ReleaseForm(permissions=permissions),
        "permissions": permissions,
        "blockers": rows(getattr(form, "blockers", ()), request.access),
        "battery_words": [BATTERY_WORDS] if supply.kind == "battery" else [],
        "waiting": [_waiting(supply)],
    }
    template = "commissioning/supplies/supply.html"
    return page(request, template, context, section="portfolio", system=supply.system, status=status)


def _waiting(supply: SupplyPoint) -> str:
    minutes = supply.system.nameplate.get("stored_charge_minutes")
    time = f"the maker's {minutes} minutes" if minutes else "the time that the maker's manual gives"
    return f"Rectifiers and UPS hold charge after isolation: wait {time}."


@project_view
def supply(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One supply: what is recorded, isolate it, release it."""
    return _supply_page(request, _supply(request, id))


@project_view
def isolate(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Record that the supply was isolated and locked."""
    found = _supply(request, id)
    form = IsolateForm(request.POST or None)
    if form.is_valid():
        given = form.cleaned_data
        change = submit(
            form,
            lambda: isolate_supply(
                actor=request.access.user,
                supply=found,
                lock_number=given["lock_number"],
                remark=given["remark"],
                id=form.record_id,
            ),
        )
        if change:
            messages.success(request, f"{found.tag} is recorded isolated. Prove dead at the point of work.")
            return redirect("supplies", code=request.access.project.code, id=found.system_id)
    return _supply_page(request, found, isolate=form, status=422 if form.is_bound else 200)


@project_view
def release(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Release the supply under a permission; from then on the system is recorded LIVE."""
    found = _supply(request, id)
    named = PermissionToEnergise.objects.filter(supplies=found, system=found.system_id).select_related("stage")
    form = ReleaseForm(request.POST or None, permissions=named)
    if form.is_valid():
        given = form.cleaned_data
        change = submit(
            form,
            lambda: release_supply(
                actor=request.access.user,
                supply=found,
                permission=given["permission"],
                remark=given["remark"],
                id=form.record_id,
            ),
        )
        if change:
            messages.success(request, f"{found.tag} is recorded released: the system is LIVE.")
            return redirect("supplies", code=request.access.project.code, id=found.system_id)
    if not form.is_bound:
        return _supply_page(request, found)
    return _supply_page(request, found, release=form, status=422)


@project_view
def sign(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The authorised person permits the supplies that are named to be released."""
    access = request.access
    stage = stage_or_404(access=access, id=id)
    use_site_zone(stage.system.site)
    supplies = stage.system.supplies.order_by("tag")
    zone = timezone.get_current_timezone_name()
    form = PermissionForm(request.POST or None, supplies=supplies, zone=zone)
    if form.is_valid():
        given = form.cleaned_data
        permission = submit(
            form,
            lambda: sign_permission(
                signed_by=access.user,
                stage=stage,
                supplies=list(given["supplies"]),
                valid_until=given["valid_until"],
                precautions=given["precautions"],
                password=given["password"],
                id=form.record_id,
            ),
        )
        if permission:
            messages.success(request, "The permission to energise is signed.")
            return redirect("permission", code=access.project.code, id=permission.pk)
    return _sign_page(request, stage, form)


def _sign_page(request: ProjectRequest, stage: Stage, form: PermissionForm) -> HttpResponse:
    in_the_way = permission_blockers(stage=stage_facts(stage=stage), supply_ids=frozenset())
    has_battery = stage.system.supplies.filter(kind="battery").exists()
    context = {
        "stage": stage,
        "form": form,
        "authorised": request.access.authorised_person,
        "blockers": rows((*in_the_way, *_of_supplies(form, in_the_way)), request.access),
        "battery_words": [BATTERY_WORDS] if has_battery else [],
    }
    template, status = "commissioning/supplies/sign.html", 422 if form.is_bound else 200
    return page(request, template, context, section="portfolio", system=stage.system, status=status)


def _of_supplies(form: PermissionForm, known: tuple[Any, ...]) -> list[Any]:
    """Blockers that only the supplies chosen bring."""
    return [blocker for blocker in getattr(form, "blockers", ()) if blocker not in known]


@project_view
def permission(request: ProjectRequest, id: UUID) -> HttpResponse:
    """A permission to energise as it was signed."""
    found = permission_or_404(access=request.access, id=id)
    use_site_zone(found.system.site)
    now = timezone.now()
    context = {
        **_permission_row(found, now),
        "supplies": found.supplies.order_by("tag"),
        "releases": found.releases.select_related("supply", "by").order_by("at"),
        "proved": signature_holds(found) if "prove" in request.GET else None,
        "may_withdraw": may_work(request.access) and found.withdrawn_at is None and found.valid_until > now,
        "expires_soon": found.valid_until - now < timedelta(hours=1),
    }
    return page(request, "commissioning/supplies/permission.html", context, section="portfolio", system=found.system)


@project_view
def withdraw(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take a permission back, with the reason."""
    found = permission_or_404(access=request.access, id=id)
    use_site_zone(found.system.site)
    form = WithdrawForm(request.POST or None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        gone = submit(form, lambda: withdraw_permission(actor=request.access.user, permission=found, reason=reason))
        if gone:
            messages.success(request, "The permission to energise is withdrawn.")
            return redirect("supplies", code=request.access.project.code, id=found.system_id)
    tags = found.supplies.order_by("tag").values_list("tag", flat=True)
    live = [supply.tag for supply in found.supplies.filter(state="released").order_by("tag")]
    consequences = ["Nothing more can be released under it."]
    if live:
        consequences.append(f"{', '.join(live)} stay recorded LIVE until isolated, and hold the stage until then.")
    context = {
        "permission": found,
        "allowed": may_work(request.access),
        "what": f"You withdraw the permission to energise {', '.join(tags)}.",
        "consequences": consequences,
        "reason": request.POST.get("reason", ""),
        "error": next((message for errors in form.errors.values() for message in errors), ""),
        "back": reverse("permission", args=[request.access.project.code, found.pk]),
    }
    template = "commissioning/supplies/withdraw.html"
    return page(
        request, template, context, section="portfolio", system=found.system, status=422 if form.is_bound else 200
    )
