"""Raising an item: from nothing, or with what the person came from carried along."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid5

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET

from commissioning.errors import ServiceError
from commissioning.selectors.access import Access
from commissioning.views.base import ProjectRequest, page, project_view, submit
from punchlist.forms.items import RaiseForm
from punchlist.models import PunchItem
from punchlist.selectors.items import members_for
from punchlist.selectors.places import (
    Place,
    place_at,
    place_of_alarm,
    place_of_line,
    place_of_tag,
    tags_for,
)
from punchlist.services.items import raise_item
from punchlist.services.photos import PHOTOS_PER_ITEM, add_photo

#: What a failed line or an alarm is taken for until somebody says otherwise: it holds the stage.
CARRIED_CATEGORY = "A"


@project_view
def new(request: ProjectRequest) -> HttpResponse:
    """One page, one press: what, how bad, where; photos if there are any."""
    access = request.access
    came_from = came_from_of(access, request.GET)
    fixed = came_from is not None and bool(came_from.line or came_from.alarm)
    form = RaiseForm(
        request.POST or None,
        request.FILES or None,
        members=members_for(access),
        fixed_place=fixed,
        initial=_initial(came_from, request.GET, fixed=fixed),
    )
    if request.method == "POST" and form.is_valid():
        place = came_from if fixed else _typed_place(access, form)
        if place and (item := submit(form, lambda: _raise(access, form, place))):
            keep_photos(request, item, form.cleaned_data["photos"], key=item.pk)
            messages.success(request, f"{item.label} is on the list, category {item.category}.")
            return redirect(_next(request) or reverse("punch-item", args=[access.project.code, item.number]))
    context = {
        "form": form,
        "came_from": came_from if fixed else None,
        "tags": tags_for(access, system=came_from.system if came_from else None),
        "tags_url": reverse("punch-tags", args=[access.project.code]),
        "next": _next(request),
        "photos_lost": bool(form.errors and request.FILES),
        "details_open": bool({"owes", "owes_company", "due_on"} & set(form.errors)),
    }
    system = came_from.system if came_from else None
    status = 400 if form.errors else 200
    return page(request, "punchlist/new.html", context, section="punch-list", system=system, status=status)


def came_from_of(access: Access, given: QueryDict) -> Place | None:
    """The record that the address names, if any; one that is not there, or not to be seen, is a 404."""
    keys = {
        word: _key(str(given[word])) for word in ("line", "alarm", "equipment", "system", "stage") if given.get(word)
    }
    if "line" in keys:
        return place_of_line(access, keys["line"])
    if "alarm" in keys:
        return place_of_alarm(access, keys["alarm"])
    if keys:
        return place_at(access, equipment=keys.get("equipment"), system=keys.get("system"), stage=keys.get("stage"))
    return None


def _key(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise Http404("This address leads nowhere.") from None


def _initial(place: Place | None, given: QueryDict, *, fixed: bool) -> dict[str, Any]:
    if place is None:
        return {"tag": given.get("tag", ""), "text": given.get("text", "")}
    stage = place.stage.kind if given.get("stage") else ""
    return {
        "category": CARRIED_CATEGORY if fixed else None,
        "text": place.words or given.get("text", ""),
        "tag": place.tag,
        "stage": stage,
    }


def _typed_place(access: Access, form: RaiseForm) -> Place | None:
    """The place that the typed tag and stage mean; what is wrong with them stands beside the field."""
    try:
        place = place_of_tag(access, tag=form.cleaned_data["tag"], stage_kind=form.cleaned_data["stage"])
    except KeyError:
        form.add_error("stage", "The system of this tag has no such stage. Choose another.")
        return None
    if place is None:
        form.add_error("tag", "Nothing here carries this tag. Choose from the list, or type the system's tag.")
    return place


def _raise(access: Access, form: RaiseForm, place: Place) -> PunchItem:
    given = form.cleaned_data
    return raise_item(
        actor=access.user,
        system=place.system,
        stage=place.stage,
        equipment=place.equipment,
        line=place.line,
        alarm=place.alarm,
        category=given["category"],
        text=given["text"],
        owes=form.owner,
        owes_company=given["owes_company"],
        due_on=given["due_on"],
        id=form.record_id,
    )


def keep_photos(
    request: ProjectRequest, item: PunchItem, files: list[UploadedFile], *, key: UUID | None, caption: str = ""
) -> int:
    """Add the photos one by one; one that cannot be kept is named, and does not undo the others."""
    kept = 0
    for place, file in enumerate(files[:PHOTOS_PER_ITEM]):
        try:
            add_photo(
                actor=request.access.user,
                item=item,
                file=file,
                caption=caption,
                id=uuid5(key, f"photo {place}") if key else None,
            )
            kept += 1
        except ServiceError as error:
            messages.warning(request, f"{file.name} was not kept. {error.words}")
    if len(files) > PHOTOS_PER_ITEM:
        messages.warning(request, f"An item takes {PHOTOS_PER_ITEM} photos; the rest were not kept.")
    return kept


def _next(request: ProjectRequest) -> str:
    """The page to go back to, when it is one of ours."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    known = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if known else ""


@require_GET
@project_view
def tags(request: ProjectRequest) -> HttpResponse:
    """Tags that hold what was typed so far, as options of the type-ahead list."""
    return render(request, "punchlist/tags.html", {"tags": tags_for(request.access, typed=request.GET.get("tag", ""))})
