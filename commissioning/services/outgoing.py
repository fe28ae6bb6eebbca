"""Mail on its way: written in the transaction of what it tells, handed to the mail server afterwards, once.

One conditional UPDATE takes a mail, so of two senders one hands it over. A mail server that says no, or none at all, is
tried again after a wait that doubles. A sender that is killed between the server's yes and its own note leaves a mail
that is tried again under the same Message-ID, by which mail programs know it for the same.
"""

from __future__ import annotations

import logging
import smtplib
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core import signing
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db.models import F, QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from commissioning.models import Mail, Membership
from commissioning.rules.notices import DAILY, MAILS

log = logging.getLogger(__name__)

#: Longer than the mail server may take to answer; doubled with each try, so that the last comes after two days.
WAIT = timedelta(minutes=5)
MOST_TRIES = 10
#: Sent or given up, a mail's row is forgotten after this.
KEPT = timedelta(days=30)
AT_ONCE = 200
#: Faults of one mail; any other is the mail server's, and the rest waits with it.
_THIS_ONE = (smtplib.SMTPRecipientsRefused, smtplib.SMTPDataError, smtplib.SMTPSenderRefused, ValueError)
_SALT = "switch mails off"


def write_mail(
    *,
    membership: Membership,
    kind: str,
    key: str,
    template: str,
    context: Mapping[str, Any],
    calendar: tuple[str, str] = ("", ""),
) -> None:
    """Keep a mail to be sent after this transaction. The template's first line is the subject.

    `calendar` is a method of iTIP (RFC 5546) and the iCalendar object.
    """
    if not membership.user.email:
        return
    shared = {
        "project": membership.project,
        "person": membership.user,
        "choice_url": address("notices-choice", membership.project.code),
        "off_url": off_address(membership, kind),
        **context,
    }
    subject, _, text = render_to_string(f"commissioning/mail/{template}.txt", shared).strip().partition("\n")
    html = render_to_string(f"commissioning/mail/{template}.html", {**shared, "subject": subject})
    mail = Mail(membership=membership, kind=kind, key=key, subject=subject[:200], text=text.strip() + "\n", html=html)
    mail.calendar_method, mail.calendar = calendar
    Mail.objects.bulk_create([mail], ignore_conflicts=True)


def address(name: str, *args: Any) -> str:
    """A page as a mail links to it."""
    return str(settings.PUBLIC_URL).rstrip("/") + reverse(name, args=args)


def off_address(membership: Membership, kind: str) -> str:
    """The link that switches mails like this one off, without signing in: it can do nothing else."""
    return address("mails-off", signing.dumps([str(membership.pk), kind], salt=_SALT, compress=True))


def named_by(token: str) -> tuple[Membership, tuple[str, ...]] | None:
    """Whose mails, and which switches, a link to switch off names; None where it does not hold."""
    try:
        key, kind = signing.loads(token, salt=_SALT)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    membership = Membership.objects.select_related("project", "user").filter(pk=key, left_at__isnull=True).first()
    kinds = tuple(DAILY) if kind == "daily" else (kind,) if kind in MAILS else ()
    return (membership, kinds) if membership and kinds else None


def waiting(now: datetime | None = None) -> QuerySet[Mail]:
    """Mails that are to be sent now."""
    return Mail.objects.filter(sent_at__isnull=True, next_at__lte=now or timezone.now(), tries__lt=MOST_TRIES)


def send_waiting(now: datetime | None = None) -> int:
    """Hand over what waits; answers for how many the mail server took. Stops where there is no mail server."""
    now = now or timezone.now()
    sent = 0
    connection = get_connection()
    for pk in waiting(now).order_by("next_at", "pk").values_list("pk", flat=True)[:AT_ONCE]:
        if mail := _take(pk, now):
            fault = _hand_over(mail, connection)
            sent += not fault
            if fault and not isinstance(fault, _THIS_ONE):
                break
    connection.close()
    return sent


def drop_old(now: datetime | None = None) -> int:
    """Forget that mails were sent, or could not be."""
    gone: tuple[int, dict[str, Any]] = Mail.objects.filter(made_at__lt=(now or timezone.now()) - KEPT).delete()
    return gone[0]


def _take(pk: Any, now: datetime) -> Mail | None:
    mail = Mail.objects.select_related("membership__user", "membership__project").get(pk=pk)
    free = Mail.objects.filter(pk=pk, sent_at__isnull=True, next_at__lte=now, tries=mail.tries)
    taken = free.update(next_at=now + WAIT * 2**mail.tries, tries=F("tries") + 1)
    return mail if taken else None


def _hand_over(mail: Mail, connection: BaseEmailBackend) -> Exception | None:
    """Outside any transaction: the server's answer takes as long as it takes."""
    try:
        if not mail.membership.left_at and mail.membership.user.is_active:
            message_of(mail, connection).send()
    except (OSError, smtplib.SMTPException, ValueError) as error:
        log.warning("mail %s could not be handed over: %s", mail.pk, error)
        Mail.objects.filter(pk=mail.pk).update(fault=f"{type(error).__name__}: {error}"[:200])
        return error
    Mail.objects.filter(pk=mail.pk).update(sent_at=timezone.now(), text="", html="", calendar="", fault="")
    return None


def message_of(mail: Mail, connection: BaseEmailBackend | None = None) -> EmailMultiAlternatives:
    """The mail as it goes: text, HTML, calendar, and the way to switch mails like it off (RFC 2369, RFC 8058)."""
    headers = {
        "Message-ID": f"<{mail.pk}@{urlsplit(settings.PUBLIC_URL).hostname or 'localhost'}>",
        "Auto-Submitted": "auto-generated",  # RFC 3834: no answer by machine
        "List-Unsubscribe": f"<{off_address(mail.membership, mail.kind)}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
    }
    message = EmailMultiAlternatives(
        mail.subject, mail.text, None, [mail.membership.user.email], headers=headers, connection=connection
    )
    message.attach_alternative(mail.html, "text/html")
    if mail.calendar:
        message.attach_alternative(mail.calendar, f"text/calendar; method={mail.calendar_method}")
        message.attach("invitation.ics", mail.calendar, "text/calendar")
    return message
