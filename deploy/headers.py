"""The safe headers of every answer: pages, API, files, static files, probes, refusals.

One layer around all others instead of a library: what a page, a file and an upload may do differ by the kind of the
answer, and the policy has to be there also where an inner layer answers by itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

#: Where files are answered that came from people: a proxy may give them a host or rules of their own.
UPLOADS = re.compile(r"/p/[^/]+/uploads/")
#: A page, or a script, which may be a worker's.
PAGES = ("text/html", "text/javascript", "application/javascript")


def safe_headers(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware around everything. An answer that nothing changed renews the headers that a browser keeps."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        kind = response.get("Content-Type", "").partition(";")[0].strip().lower()
        upload = UPLOADS.match(request.path_info) and response.status_code < 400
        response["Content-Security-Policy"] = policy(kind, upload=bool(upload))
        response["X-Content-Type-Options"] = "nosniff"
        response["X-Frame-Options"] = "DENY"
        response["Permissions-Policy"] = settings.PERMISSIONS
        response.headers.setdefault("Referrer-Policy", settings.SECURE_REFERRER_POLICY)
        response["Cross-Origin-Opener-Policy"] = "same-origin"
        response["Cross-Origin-Resource-Policy"] = "same-origin"
        return response

    return middleware


def policy(kind: str, *, upload: bool) -> str:
    """The content security policy of an answer of this media type."""
    if upload:
        return str(settings.POLICY_OF_UPLOADS)
    return str(settings.POLICY_OF_PAGES if kind in PAGES else settings.POLICY_OF_FILES)
