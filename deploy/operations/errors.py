"""What is answered when something unforeseen broke: in words, with the number by which the log knows the request."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from commissioning.api.problems import CONTENT_TYPE
from deploy.operations.requests import request_id

WORDS = (
    "Something broke on our side, and what you sent was not recorded. Send it again in a minute, under the same UUID."
)


def server_error(request: HttpRequest) -> HttpResponse:
    """A page for people, a problem document for programs."""
    if request.path_info.startswith("/api/"):
        body = {"type": "/problems/error", "title": "Error", "status": 500, "detail": WORDS, "request_id": request_id()}
        return JsonResponse(body, status=500, content_type=CONTENT_TYPE)
    return render(request, "500.html", {"request_id": request_id()}, status=500)
