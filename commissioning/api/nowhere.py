"""What an address of the API that is not there answers: a problem document, as everywhere else in it."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse

from commissioning.api.problems import CONTENT_TYPE


def no_such_address(request: HttpRequest) -> JsonResponse:
    """404 for a path below /api/ that leads nowhere."""
    detail = "There is no such address. Addresses of the API end with a slash; /api/v1/openapi.json lists them."
    body = {"type": "/problems/not-found", "title": "Not found", "status": 404, "detail": detail}
    return JsonResponse(body, status=404, content_type=CONTENT_TYPE)
