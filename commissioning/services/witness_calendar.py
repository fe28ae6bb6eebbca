"""An invitation to a witness as a calendar object: iCalendar (RFC 5545), sent by the rules of iTIP (RFC 5546)."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlsplit

from django.conf import settings
from icalendar import Calendar, Event, vCalAddress, vText

from commissioning.models import System, User, WitnessNotice

REQUEST, CANCEL = "REQUEST", "CANCEL"
#: A calendar wants an end. One hour: common practice, no source.
LASTS = timedelta(hours=1)


def calendar_of(notice: WitnessNotice, *, system: System, to: User, method: str, link: str) -> str:
    """The object for one person. A move counts the sequence up by one, and so does a cancellation (RFC 5546, 2.1.4)."""
    event = Event()
    event.add("uid", f"{notice.first}@{urlsplit(settings.PUBLIC_URL).hostname or 'localhost'}")
    event.add("sequence", notice.sequence + (method == CANCEL))
    event.add("dtstamp", notice.withdrawn_at if method == CANCEL else notice.given_at)
    event.add("dtstart", notice.planned_for)
    event.add("dtend", notice.planned_for + LASTS)
    event.add("summary", f"Witness: {system.tag} {notice.line.title}")
    event.add("location", str(system.site))
    event.add("status", "CANCELLED" if method == CANCEL else "CONFIRMED")
    words = [notice.withdrawn_reason if method == CANCEL else notice.words, link]
    event.add("description", "\n".join(one for one in words if one))
    event.add("url", link)
    event.add("organizer", _person(notice.given_by), encode=False)
    event.add("attendee", _invited(to), encode=False)
    calendar = Calendar()
    calendar.add("prodid", "-//the commissioning tracker//witness notices//EN")
    calendar.add("version", "2.0")
    calendar.add("method", method)
    calendar.add_component(event)
    return str(calendar.to_ical().decode())


def _person(user: User) -> vCalAddress:
    address = vCalAddress(f"mailto:{user.email or settings.DEFAULT_FROM_EMAIL}")
    address.params["CN"] = vText(str(user))
    return address


def _invited(user: User) -> vCalAddress:
    address = _person(user)
    address.params["ROLE"] = vText("REQ-PARTICIPANT")
    address.params["PARTSTAT"] = vText("NEEDS-ACTION")
    address.params["RSVP"] = vText("TRUE")
    return address
