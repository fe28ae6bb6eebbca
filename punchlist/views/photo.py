"""A photo's bytes, for those who may see its item; and taking it off the item."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_safe

from commissioning.views.base import ProjectRequest, page, project_view, submit
from punchlist.forms.items import WithdrawPhotoForm
from punchlist.models import Photo
from punchlist.selectors.items import photo_or_404
from punchlist.services.photos import withdraw_photo


@require_safe
@project_view  # type: ignore[arg-type]  # a file is streamed
def photo(request: ProjectRequest, id: UUID) -> HttpResponse | FileResponse:
    """The picture, for whoever may see its item now: who has left the project sees it no longer."""
    return photo_response(photo_or_404(request.access, id=id), known=request.headers.get("If-None-Match", ""))


@require_safe
@project_view  # type: ignore[arg-type]  # a file is streamed
def small(request: ProjectRequest, id: UUID) -> HttpResponse | FileResponse:
    """The picture as a grid shows it; the whole one where it was kept before there were small ones."""
    found = photo_or_404(request.access, id=id)
    return photo_response(found, known=request.headers.get("If-None-Match", ""), small=bool(found.thumbnail))


@project_view
def withdraw(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take a photo off its item, with the reason."""
    access = request.access
    found = photo_or_404(access, id=id)
    item = found.item
    form = WithdrawPhotoForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        if submit(form, lambda: withdraw_photo(actor=access.user, photo=found, reason=reason)):
            messages.success(request, "The photo is withdrawn. Its file is kept.")
            return redirect("punch-item", code=access.project.code, number=item.number)
    context = {
        "item": item,
        "photo": found,
        "may_withdraw": access.is_manager or found.taken_by_id == access.user.pk,
        "what": f"You take a photo off {item.label}.",
        "consequences": [
            "It is not shown on the item any more and not printed in a dossier made from now on.",
            "That it was there, who withdrew it and why stays on record, and so does its file.",
            "Dossiers made before keep it.",
        ],
        "reason": request.POST.get("reason", ""),
        "error": next((message for errors in form.errors.values() for message in errors), ""),
        "back": reverse("punch-item", args=[access.project.code, item.number]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "punchlist/photo_withdraw.html", context, section="punch-list", status=status)


def photo_response(found: Photo, *, known: str, small: bool = False) -> HttpResponse | FileResponse:
    """The bytes, never sniffed, never run, kept by this person's own browser only.

    Content never changes under its key, so a browser that has it (`known`) is told so, but it asks each time.
    """
    stored, tag = (found.thumbnail, f'"{found.sha256}-small"') if small else (found.file, f'"{found.sha256}"')
    response: HttpResponse | FileResponse
    if known == tag:
        response = HttpResponseNotModified()
    else:
        try:
            file = default_storage.open(str(stored.name))
        except FileNotFoundError:
            raise Http404("The file of this photo is missing in the store.") from None
        response = FileResponse(file, content_type="image/jpeg", filename=f"photo-{found.sha256[:12]}.jpg")
        response["Content-Length"] = str(stored.size)
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    return response
