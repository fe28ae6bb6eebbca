"""How long a session lasts: until nothing was asked for a while, and at the longest for some days."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse

BEGUN, SEEN = "signed_in_at", "seen_at"
#: A session is written no oftener than this: a write a request would make every page wait for the database.
STEP_SECONDS = 300
ENDED = "You were signed out because your session ran out. Nothing that waits on a phone is lost: sign in to go on."


@receiver(user_logged_in, dispatch_uid="a session's clock starts")
def start_clock(sender: type[Any], request: HttpRequest | None = None, **kwargs: Any) -> None:
    """Whoever signs in, by whichever way, starts the session's two clocks."""
    if request is not None and hasattr(request, "session"):
        request.session[BEGUN] = request.session[SEEN] = int(time.time())


class SessionLimits:
    """Ends a session that is too old or was idle for too long, and keeps when and from where it was last used."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SESSION_COOKIE_NAME in request.COOKIES and SESSION_KEY in request.session:
            self.look(request)
        return self.get_response(request)

    def look(self, request: HttpRequest) -> None:
        now = int(time.time())
        begun, seen = request.session.get(BEGUN, 0), request.session.get(SEEN, 0)
        if now - begun > settings.SESSION_LONGEST or now - seen > settings.SESSION_COOKIE_AGE:
            request.session.flush()
            request.user = AnonymousUser()
            messages.warning(request, ENDED)
        elif now - seen > STEP_SECONDS and request.user.is_authenticated:
            request.session[SEEN] = now
            UserSession.objects.create_from_request(request)
