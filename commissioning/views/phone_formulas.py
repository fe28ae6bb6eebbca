"""Sends the calculations to the phone."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from commissioning.phone_formulas import script


@require_safe
def show(request: HttpRequest, digest: str) -> HttpResponse:
    """The script. It holds no project's data, so that it needs no signing in; another content has another address."""
    found = script()
    if digest != found.digest:
        raise Http404("There are no calculations with this content.")
    packed = "gzip" in request.headers.get("Accept-Encoding", "")
    answer = HttpResponse(found.packed if packed else found.body, content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "public, max-age=31536000, immutable"
    if packed:
        answer["Content-Encoding"] = "gzip"
    patch_vary_headers(answer, ["Accept-Encoding"])
    return answer
