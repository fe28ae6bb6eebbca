"""The phone's app: its one page, its files, its service worker, and who is signed in.

The page holds nothing of any person or project, so the phone may keep it; what is shown in it comes from the phone's
own store or from the API, which asks who reads.
"""

from __future__ import annotations

import json

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from commissioning import phone_formulas
from commissioning.phone_files import WORKER, phone_files
from commissioning.views.base import ProjectRequest, project_view

FOR_EVER = "public, max-age=31536000, immutable"


@require_safe
@never_cache
def start(request: HttpRequest) -> HttpResponse:
    """Where the installed app starts: the same page, which then finds what was taken along."""
    return _page(request)


@project_view
@never_cache
def show(request: ProjectRequest) -> HttpResponse:
    """The app for one project."""
    return _page(request)


def _page(request: HttpRequest) -> HttpResponse:
    files = phone_files()
    context = {
        "version": files.version,
        "sheets": files.sheets,
        "modules": files.modules,
        "shell": files.address("phone/shell.js"),
        "mark": files.address("mark.svg"),
        "icon": files.address("phone/icons/icon-192.png"),
        "formulas": phone_formulas.url(),
        "sign_in": reverse("sign-in"),
    }
    return render(request, "commissioning/phone/shell.html", context)


@require_safe
def file(request: HttpRequest, version: str, name: str) -> HttpResponse:
    """A file of the app; of another version than this one there is nothing, so that two are never mixed."""
    files = phone_files()
    found = files.files.get(name)
    if version != files.version or found is None:
        raise Http404("There is no such file in this version of the app.")
    packed = "gzip" in request.headers.get("Accept-Encoding", "")
    answer = HttpResponse(found.packed if packed else found.body, content_type=found.type)
    answer["Cache-Control"] = FOR_EVER
    if packed:
        answer["Content-Encoding"] = "gzip"
    patch_vary_headers(answer, ["Accept-Encoding"])
    return answer


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker: which files it keeps, and what it does with them. Its scope is the whole product."""
    files = phone_files()
    kept = [reverse("phone-start"), *map(files.address, files.files), phone_formulas.url()]
    known = json.dumps({"version": files.version, "page": reverse("phone-start"), "files": kept})
    answer = HttpResponse(f"const APP = {known};\n{WORKER.read_text()}", content_type="text/javascript; charset=utf-8")
    answer["Service-Worker-Allowed"] = "/"
    answer["Cache-Control"] = "no-cache"
    return answer


@require_safe
def manifest(request: HttpRequest) -> JsonResponse:
    """What makes the app installable."""
    files = phone_files()
    icons = [("icon-192", "192x192", "any"), ("icon-512", "512x512", "any"), ("maskable-512", "512x512", "maskable")]
    body = {
        "id": reverse("phone-start"),
        "name": "the commissioning tracker",
        "short_name": "commissioning",
        "description": "Procedures, readings and snags where there is no signal.",
        "start_url": reverse("phone-start"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#ffffff",
        "lang": "en-GB",
        "icons": [
            {"src": files.address(f"phone/icons/{name}.png"), "sizes": sizes, "type": "image/png", "purpose": purpose}
            for name, sizes, purpose in icons
        ],
    }
    return JsonResponse(body, content_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


@require_safe
@never_cache
def session(request: HttpRequest) -> JsonResponse:
    """Who is signed in, with a fresh cross-site token: the phone's page may be days old when it sends."""
    if not request.user.is_authenticated:
        return JsonResponse({"detail": "Sign in to go on."}, status=401)
    user = request.user
    return JsonResponse({"csrf": get_token(request), "person": {"id": user.pk, "name": user.get_full_name()}})
