"""One item: what it is, where it stands, its photos, its life, and what can be done next."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from commissioning.errors import InvalidInput
from commissioning.models import Equipment
from commissioning.selectors.access import equipment_for
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone
from commissioning.views.links import blocker_row, record_url
from punchlist.forms.items import ChangeForm, PhotoForm, StepForm
from punchlist.models import ItemState, PunchItem
from punchlist.rules.steps import ASSIGN_UNDONE, ASSIGNED, CLOSED, RECTIFIED, REOPENED, SENT_BACK
from punchlist.selectors.items import item_or_404, members_for, steps_open_to
from punchlist.selectors.places import tags_for
from punchlist.services.items import change_item, close_item, rectify_item, reopen_item, send_back_item
from punchlist.services.photos import PHOTOS_PER_ITEM
from punchlist.views.raising import keep_photos

#: The service of each button, and what it calls the words that go with it.
DEEDS: dict[str, tuple[Callable[..., PunchItem], str]] = {
    RECTIFIED: (rectify_item, "remark"),
    CLOSED: (close_item, "remark"),
    SENT_BACK: (send_back_item, "reason"),
    REOPENED: (reopen_item, "reason"),
}
FIELD_WORDS = {"owes_company": "company", "due_on": "due", "owes": "who owes it"}


@require_GET
@project_view
def show(request: ProjectRequest, number: int) -> HttpResponse:
    return item_page(request, item_or_404(request.access, number=number))


@require_GET
@project_view
def by_id(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Blockers and search hits know an item by its key; people know it by its number."""
    item = item_or_404(request.access, id=id)
    return redirect("punch-item", code=request.access.project.code, number=item.number)


def item_page(request: ProjectRequest, item: PunchItem, step_form: StepForm | None = None) -> HttpResponse:
    access, code = request.access, request.access.project.code
    use_site_zone(item.system.site)
    form = step_form or StepForm()
    blockers = getattr(form, "blockers", ())
    context = {
        "item": item,
        "overdue": item.state != ItemState.CLOSED and item.due_on and item.due_on < timezone.localdate(),
        "steps": steps_open_to(access, item),
        "step_form": form,
        "blockers": [blocker_row(blocker, code=code, role=access.role) for blocker in blockers],
        "history": [_history_row(step) for step in item.steps.all()],
        **_photos(item),
        "photo_form": PhotoForm(),
        "may_change": item.state != ItemState.CLOSED and not (access.is_client and item.raised_by != access.user),
        "tag_url": record_url(code=code, kind="equipment", id=str(item.equipment_id)) if item.equipment else "",
        "system_url": record_url(code=code, kind="system", id=str(item.system_id)),
        "stage_url": record_url(code=code, kind="stage", id=str(item.stage_id)),
        "line_url": record_url(code=code, kind="line", id=str(item.line_id)) if item.line else "",
        "alarm_url": record_url(code=code, kind="alarm", id=str(item.alarm_id)) if item.alarm else "",
    }
    status = 400 if form.errors else 200
    return page(request, "punchlist/item.html", context, section="punch-list", system=item.system, status=status)


def _photos(item: PunchItem) -> dict[str, Any]:
    standing = [photo for photo in item.photos.all() if not photo.withdrawn_at]
    return {
        "photos": standing,
        "withdrawn_photos": [photo for photo in item.photos.all() if photo.withdrawn_at],
        "photos_left": PHOTOS_PER_ITEM - len(standing),
    }


def _history_row(step: Any) -> dict[str, Any]:
    """A step of the item's life, its changes in words."""
    changes = []
    if step.step in (ASSIGNED, ASSIGN_UNDONE):
        changes = [f"with {FIELD_WORDS.get(name.removesuffix('_id'), name)}" for name in step.changes.get("after", {})]
    elif step.step == "changed":
        changes = [
            f"{FIELD_WORDS.get(name, name)}: {before or 'empty'} → {after or 'empty'}"
            for name, (before, after) in step.changes.items()
        ]
    return {
        "words": "assignment taken back" if step.step == ASSIGN_UNDONE else step.step.replace("_", " "),
        "by": step.by,
        "at": step.at,
        "late": (step.recorded_at - step.at).total_seconds() > 3600,
        "recorded_at": step.recorded_at,
        "remark": step.remark,
        "changes": changes,
    }


@require_POST
@project_view
def step(request: ProjectRequest, number: int) -> HttpResponse:
    """Take the step whose button was pressed."""
    access = request.access
    item = item_or_404(access, number=number)
    form = StepForm(request.POST)
    if form.is_valid() and submit(form, lambda: _take(request, form, item)) is not None:
        done = item_or_404(access, number=number)
        messages.success(request, f"{done.label} is {done.get_state_display()}.")
        return redirect("punch-item", code=access.project.code, number=number)
    return item_page(request, item_or_404(access, number=number), form)


def _take(request: ProjectRequest, form: StepForm, item: PunchItem) -> PunchItem:
    deed, words_are = DEEDS[form.cleaned_data["step"]]
    words = {words_are: form.cleaned_data["remark"]}
    try:
        return deed(actor=request.access.user, item=item, id=form.record_id, **words)
    except InvalidInput as error:  # the page has one field for both
        raise InvalidInput({"remark": error.words}) from error


@project_view
def change(request: ProjectRequest, number: int) -> HttpResponse:
    """What the item says, and why that changes."""
    access = request.access
    item = item_or_404(access, number=number)
    form = ChangeForm(request.POST or None, members=members_for(access), initial=ChangeForm.initial_of(item))
    if request.method == "POST" and form.is_valid():
        found, equipment = _equipment(request, form, item)
        if found and submit(form, lambda: _change(request, form, item, equipment)) is not None:
            messages.success(request, f"{item.label} is changed; its history keeps what it said before.")
            return redirect("punch-item", code=access.project.code, number=number)
    context = {
        "form": form,
        "item": item,
        "tags": [tag for tag in tags_for(access, system=item.system) if tag != item.system.tag],
        "back": reverse("punch-item", args=[access.project.code, number]),
    }
    status = 400 if form.errors else 200
    return page(request, "punchlist/change.html", context, section="punch-list", system=item.system, status=status)


def _equipment(request: ProjectRequest, form: ChangeForm, item: PunchItem) -> tuple[bool, Equipment | None]:
    """The equipment that the typed tag means; empty, or the system's own tag, means the system as a whole."""
    tag = form.cleaned_data["tag"].strip()
    if not tag or tag.casefold() == item.system.tag.casefold():
        return True, None
    found = equipment_for(request.access).filter(system=item.system, tag__iexact=tag).first()
    if found is None:
        form.add_error("tag", f"No equipment of {item.system.tag} carries this tag. Choose from the list.")
    return found is not None, found


def _change(request: ProjectRequest, form: ChangeForm, item: PunchItem, equipment: Equipment | None) -> PunchItem:
    given = form.cleaned_data
    return change_item(
        actor=request.access.user,
        item=item,
        category=given["category"],
        text=given["text"],
        equipment=equipment,
        owes=form.owner,
        owes_company=given["owes_company"],
        due_on=given["due_on"],
        reason=given["reason"],
        id=form.record_id,
    )


@require_POST
@project_view
def photos(request: ProjectRequest, number: int) -> HttpResponse:
    """Add photos to an item."""
    access = request.access
    item = item_or_404(access, number=number)
    form = PhotoForm(request.POST, request.FILES)
    if form.is_valid() and form.cleaned_data["photos"]:
        given = form.cleaned_data
        kept = keep_photos(request, item, given["photos"], key=None, caption=given["caption"])
        if kept:
            messages.success(request, f"{kept} photo{'s' if kept != 1 else ''} on {item.label}.")
    else:
        messages.warning(request, "Choose at least one photo, and keep the caption under 200 characters.")
    return redirect("punch-item", code=access.project.code, number=number)
