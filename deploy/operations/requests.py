"""The outermost layer of every request: health before everything, one line a request, and its figures."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django_guid import get_guid

from deploy.operations import health, metrics

log = logging.getLogger("tracker.requests")

#: Answered before hosts, sessions and redirects are looked at: a probe knows only this machine's address.
PROBES: dict[str, Callable[[HttpRequest], HttpResponse]] = {
    "/health/live": health.live,
    "/health/ready": health.ready,
    "/metrics": metrics.show,
}


def watched(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware around everything but the request's id."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if probe := PROBES.get(request.path_info):
            return probe(request)
        begin = time.perf_counter()
        with metrics.IN_PROGRESS.track_inprogress():
            response = get_response(request)
        seconds = time.perf_counter() - begin
        metrics.note_request(request, response, seconds)
        _log(request, response, seconds)
        return response

    return middleware


def _log(request: HttpRequest, response: HttpResponse, seconds: float) -> None:
    """Path without its query, which may hold what somebody typed."""
    if request.path_info.startswith("/static/"):
        return
    level = logging.ERROR if response.status_code >= 500 else logging.INFO
    facts = {
        "method": request.method,
        "path": request.path_info,
        "route": metrics.route_of(request),
        "status": response.status_code,
        "milliseconds": round(seconds * 1000, 1),
        "person": _person(request),
    }
    log.log(level, "%(method)s %(path)s %(status)s", facts, extra=facts)


def _person(request: HttpRequest) -> int | None:
    """Who asked, by number, where this request looked: no query of its own."""
    user = getattr(request, "_cached_user", None)
    return getattr(user, "pk", None)


def request_id() -> str:
    """The id of the request that is being answered; empty outside one."""
    return get_guid() or ""
