"""The link at the foot of a mail: mails like it are switched off, without signing in."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from commissioning.rules.notices import MAILS
from commissioning.services import notices, outgoing

GONE = "This link does not hold any more. Sign in, and choose what you are told of on the page 'notices'."


@csrf_exempt  # mail programs send it of themselves (RFC 8058); the signed token says whose choice it is
@never_cache
@require_http_methods(["GET", "POST"])
def off(request: HttpRequest, token: str) -> HttpResponse:
    """Asked for, it says what would be switched off: programs that look through mails follow links. Sent, it is off."""
    found = outgoing.named_by(token)
    if found is None:
        return render(request, "commissioning/mail/off.html", {"gone": GONE}, status=410)
    membership, kinds = found
    if request.method == "POST":
        notices.switch_off(membership=membership, kinds=kinds)
    context = {
        "of_project": membership.project,
        "mails": [MAILS[kind].label for kind in kinds],
        "done": request.method == "POST",
    }
    return render(request, "commissioning/mail/off.html", context)
