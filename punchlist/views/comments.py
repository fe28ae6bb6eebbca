"""Comments on a dossier: the client makes them, a manager or an engineer settles them, everybody sees what became."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.models import Dossier
from commissioning.selectors.access import Access
from commissioning.selectors.dossiers import built_or_404
from commissioning.views.base import ProjectRequest, page, project_view, submit
from punchlist.forms.comments import AnswerForm, CommentForm, PutForm
from punchlist.models import DossierComment, PunchItem
from punchlist.selectors.comments import comment_or_404, comments_on, only_tag_of
from punchlist.selectors.places import place_of_tag, tags_for
from punchlist.services.comments import answer_comment, comment_on_dossier, put_on_punch_list


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """What was said of a dossier, of any of its revisions; the client adds to it."""
    access, found = request.access, built_or_404(access=request.access, id=id)
    form = CommentForm(request.POST or None, initial={"tag": request.GET.get("tag", "")})
    if request.method != "POST":
        return _page(request, found, comment_form=form)
    if form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("text", "tag")}
        if submit(form, lambda: comment_on_dossier(actor=access.user, dossier=found, id=form.record_id, **said)):
            messages.success(request, "Your comment is kept. What becomes of it is said here.")
            return _back(found)
    return _page(request, found, comment_form=form, status=422)


@require_POST
@project_view
def put(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """A comment becomes a punch item against the tag that stands in the form."""
    comment = comment_or_404(request.access, id=id)
    form = PutForm(request.POST, prefix=comment.pk.hex)
    if form.is_valid() and (item := submit(form, lambda: _put(request.access, comment, form))):
        messages.success(request, f"{item.label} is on the list, category {item.category}.")
        return _back(comment.dossier)
    return _page(request, comment.dossier, forms={comment.pk: {"put": form}}, status=422)


def _put(access: Access, comment: DossierComment, form: PutForm) -> PunchItem | None:
    place = place_of_tag(access, tag=form.cleaned_data["tag"])
    if place is None:
        form.add_error("tag", "Nothing here carries this tag. Choose from the list, or type the system's tag.")
        return None
    return put_on_punch_list(
        actor=access.user,
        comment=comment,
        system=place.system,
        stage=place.stage,
        equipment=place.equipment,
        category=form.cleaned_data["category"],
        id=form.record_id,
    )


@require_POST
@project_view
def answer(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """A manager answers instead."""
    comment = comment_or_404(request.access, id=id)
    form, actor = AnswerForm(request.POST, prefix=comment.pk.hex), request.access.user
    if form.is_valid() and submit(form, lambda: answer_comment(actor=actor, comment=comment, **form.cleaned_data)):
        messages.success(request, "Your answer is kept.")
        return _back(comment.dossier)
    return _page(request, comment.dossier, forms={comment.pk: {"answer": form}}, status=422)


def _back(dossier: Dossier) -> HttpResponseBase:
    return redirect("dossier-comments", code=dossier.project.code, id=dossier.pk)


def _page(
    request: ProjectRequest,
    dossier: Dossier,
    *,
    comment_form: CommentForm | None = None,
    forms: dict[UUID, dict[str, Any]] | None = None,
    status: int = 200,
) -> HttpResponseBase:
    access = request.access
    tag = only_tag_of(dossier)
    rows = [_row(one, access, tag, (forms or {}).get(one.pk, {})) for one in comments_on(dossier)]
    context = {
        "dossier": dossier,
        "rows": sorted(rows, key=lambda row: bool(row["comment"].settled_at)),
        "comment_form": (comment_form or CommentForm()) if access.is_client else None,
        "refused": comment_form if comment_form and not access.is_client and comment_form.is_bound else None,
        "tags": tags_for(access, system=dossier.system),
        "tags_url": reverse("punch-tags", args=[access.project.code]),
    }
    return page(request, "punchlist/comments.html", context, section="dossiers", status=status)


def _row(comment: DossierComment, access: Access, tag: str, forms: dict[str, Any]) -> dict[str, Any]:
    waits, prefix = comment.settled_at is None, comment.pk.hex
    put_form = forms.get("put") or PutForm(prefix=prefix, initial={"tag": comment.tag or tag})
    return {
        "comment": comment,
        "put_form": put_form if waits and not access.is_client else None,
        "answer_form": (forms.get("answer") or AnswerForm(prefix=prefix)) if waits and access.is_manager else None,
        "open": "answer" in forms,
    }
