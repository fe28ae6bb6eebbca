"""Is this PDF one of our dossiers, unchanged? Also where the QR code on a dossier's cover leads."""

from __future__ import annotations

from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any, cast

from django.contrib.auth.decorators import login_required
from django.core.files.uploadedfile import TemporaryUploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from commissioning.dossier.check import Outcome
from commissioning.errors import InvalidInput, ServiceError
from commissioning.forms.dossier import CheckFileForm
from commissioning.models import Dossier, User
from commissioning.selectors.access import access_or_none, memberships_of
from commissioning.selectors.dossiers import built_by_number, dossiers_for, revisions_of, scope_words
from commissioning.selectors.second_factor import lacks_second_factor
from commissioning.services.dossier_check import LARGEST, TOO_LARGE, Checked, check_file
from commissioning.services.dossier_record import SYSTEMS_ON_A_PAGE, check_record

#: The state's word, and what it means.
WORDS = {
    Outcome.UNCHANGED: ("unchanged", "Ours, and not a byte differs since it was signed."),
    Outcome.UNSIGNED: ("unchanged", "Ours: the original as it was before signing. It carries no signature."),
    Outcome.UPDATED: ("changed", "Ours once: something was added after it was signed."),
    Outcome.CHANGED: ("changed", "Ours once, and changed since. Do not rely on it."),
    Outcome.NOT_OURS: ("not ours", "Not one of our dossiers, and never was."),
}


@login_required
def check(request: HttpRequest, number: str = "", revision: int = 0) -> HttpResponse:
    """Upload a PDF and hear what it is; with a number in the address, what is on record about that dossier."""
    user = cast(User, request.user)
    form = CheckFileForm(request.POST, request.FILES) if request.method == "POST" else CheckFileForm()
    context: dict[str, Any] = {
        "form": form,
        "number": number,
        "revision": revision,
        "record": _record(built_by_number(user=user, number=number, revision=revision)) if number else None,
        "projects": [
            {"label": one.project.name, "url": reverse("portfolio", args=[one.project.code]), "current": False}
            for one in memberships_of(user)
        ],
        "sign_out_url": reverse("sign-out"),
    }
    if request.method == "POST" and form.is_valid():
        try:
            context |= _found(_checked(form), user)
        except InvalidInput as error:
            form.add_error("file", error.fields["file"])
        except ServiceError as error:
            form.add_error(None, error.words)
    status = 422 if request.method == "POST" and form.errors else 200
    return render(request, "commissioning/dossiers/check.html", context, status=status)


def _checked(form: CheckFileForm) -> Checked:
    """A large upload lies on the disk already; a small one is put there."""
    file = form.cleaned_data["file"]
    if file.size > LARGEST:
        raise InvalidInput({"file": TOO_LARGE})
    if isinstance(file, TemporaryUploadedFile):
        return check_file(Path(file.temporary_file_path()))
    with NamedTemporaryFile(suffix=".pdf") as kept:
        for chunk in file.chunks():
            kept.write(chunk)
        kept.flush()
        return check_file(Path(kept.name))


def _found(checked: Checked, user: User) -> dict[str, Any]:
    mark, words = WORDS[checked.finding.outcome]
    seen = _seen(checked.dossier, user) if checked.dossier else None
    return {
        "finding": checked.finding,
        "mark": mark,
        "words": words,
        "dossier_record": _record(seen),
        "record_check": check_record(seen, systems=SYSTEMS_ON_A_PAGE) if seen else None,
        "systems_on_a_page": SYSTEMS_ON_A_PAGE,
    }


def _seen(dossier: Dossier, user: User) -> Dossier | None:
    """The dossier, where the person may open its page."""
    access = access_or_none(user=user, project=dossier.project)
    return dossiers_for(access).filter(pk=dossier.pk).first() if access and not lacks_second_factor(access) else None


def _record(dossier: Dossier | None) -> dict[str, Any] | None:
    if dossier is None:
        return None
    latest = revisions_of(dossier).last()
    return {
        "dossier": dossier,
        "scope": scope_words(dossier),
        "url": reverse("dossier", args=[dossier.project.code, dossier.pk]),
        "latest": latest if latest and latest.pk != dossier.pk else None,
    }
