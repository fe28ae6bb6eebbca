"""Invitations by mail: made, sent again, withdrawn, accepted once."""

from __future__ import annotations

import hashlib
import logging
import secrets
import smtplib
from collections.abc import Collection
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import Invitation, Membership, Project, Role, Site, User
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.projects import check_place, require_manager_of_all, set_member
from commissioning.services.state_change import state_change

log = logging.getLogger("commissioning.sign_in")
GONE = "This invitation does not hold any more. Ask whoever invited you to send it again."


@state_change()
def invite(
    *,
    actor: User,
    project: Project,
    email: str,
    role: str,
    sites: Collection[Site] | None = None,
    authorised_person: bool = False,
    company: str = "",
) -> Invitation:
    """Ask somebody into the project by mail. `sites` None: all of them."""
    project = lock_project(project.pk)
    require_manager_of_all(actor=actor, project=project, to="invite anybody")
    check_place(project=project, role=role, sites=sites, authorised_person=authorised_person)
    email = email.strip()
    try:
        validate_email(email)
    except ValidationError as error:
        raise InvalidInput({"email": "Type an e-mail address such as name@company.example."}) from error
    if open_ones(project).filter(email__iexact=email).exists():
        raise InvalidInput({"email": "An invitation to this address is open. Send it again, or withdraw it first."})
    if Membership.objects.filter(project=project, user__email__iexact=email, left_at__isnull=True).exists():
        raise InvalidInput({"email": "Somebody with this address is a member already."})
    invitation = Invitation(
        project=project,
        email=email,
        role=role,
        all_sites=sites is None,
        authorised_person=authorised_person,
        company=company.strip(),
        invited_by=actor,
    )
    secret = _renew(invitation)
    invitation.save()
    invitation.sites.set(sites or [])
    _record(invitation, actor, "invited", f"Invited {email} as {Role(role).label}.")
    transaction.on_commit(lambda: _send(invitation, secret))
    return invitation


@state_change()
def send_again(*, actor: User, invitation: Invitation) -> Invitation:
    """A new link to the same address; the one that was sent before holds no more."""
    invitation = _locked(actor=actor, invitation=invitation, to="send an invitation again")
    secret = _renew(invitation)
    invitation.invited_by = actor
    invitation.save()
    _record(invitation, actor, "invitation_sent_again", f"Sent the invitation to {invitation.email} again.")
    transaction.on_commit(lambda: _send(invitation, secret))
    return invitation


@state_change()
def withdraw(*, actor: User, invitation: Invitation) -> Invitation:
    """Its link opens nothing from now on."""
    invitation = _locked(actor=actor, invitation=invitation, to="withdraw an invitation")
    invitation.withdrawn_at = timezone.now()
    invitation.save(update_fields=["withdrawn_at"])
    _record(invitation, actor, "invitation_withdrawn", f"Withdrew the invitation to {invitation.email}.")
    return invitation


def open_ones(project: Project) -> QuerySet[Invitation]:
    """Invitations that nobody has accepted or withdrawn, lapsed ones too: those are sent again or withdrawn."""
    return Invitation.objects.filter(project=project, accepted_at__isnull=True, withdrawn_at__isnull=True)


def open_one(*, id: str | UUID, secret: str) -> Invitation | None:
    """The invitation that a link opens, while it holds."""
    try:
        key = id if isinstance(id, UUID) else UUID(id)
    except ValueError:
        return None
    found = (
        Invitation.objects.filter(
            pk=key, accepted_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=timezone.now()
        )
        .select_related("project", "invited_by")
        .first()
    )
    if found is None or not secrets.compare_digest(found.digest, _digest(secret)):
        return None
    return found


@state_change()
def accept(*, id: str | UUID, secret: str, user: User) -> Membership:
    """The person takes the place that the invitation gives; its link opens nothing any more."""
    found = open_one(id=id, secret=secret)
    if found is None:
        raise Conflict(GONE)
    project = lock_project(found.project_id)
    # Looked at again inside the lock: two who open the link at once do not both come in.
    found = open_one(id=id, secret=secret)
    if found is None:
        raise Conflict(GONE)
    if Membership.objects.filter(project=project, user=user, left_at__isnull=True).exists():
        raise Conflict("You are a member of this project already. A manager changes your place.")
    try:
        membership = set_member(
            actor=found.invited_by,
            project=project,
            user=user,
            role=found.role,
            sites=None if found.all_sites else list(found.sites.all()),
            authorised_person=found.authorised_person,
            company=found.company,
        )
    except NotAllowed as error:
        raise Conflict(f"{found.invited_by} does not manage this project any more. Ask another manager.") from error
    found.accepted_at, found.accepted_by = timezone.now(), user
    found.save(update_fields=["accepted_at", "accepted_by"])
    _record(found, user, "invitation_accepted", f"{user} accepted the invitation to {found.email}.")
    return membership


@state_change()
def accept_as_new(*, id: str | UUID, secret: str, username: str, name: str, password: str) -> User:
    """An account for somebody who was invited, and their place in the project: both or neither."""
    found = open_one(id=id, secret=secret)
    if found is None:
        raise Conflict(GONE)
    user = User(username=username.strip(), name=name.strip(), email=found.email)
    problems: dict[str, str] = {}
    if User.objects.filter(email__iexact=found.email).exists():
        raise Conflict("Somebody signs in with this address already. Sign in, and open the link again.")
    if User.objects.filter(username__iexact=user.username).exists():
        problems["username"] = "This user name is taken. Choose another."
    try:
        user.clean_fields(exclude=["password"])
    except ValidationError as error:
        problems = {**{key: " ".join(words) for key, words in error.message_dict.items()}, **problems}
    try:
        validate_password(password, user)
    except ValidationError as error:
        problems["password"] = " ".join(error.messages)
    if problems:
        raise InvalidInput(problems)
    user.set_password(password)
    user.save()
    accept(id=id, secret=secret, user=user)
    return user


def _locked(*, actor: User, invitation: Invitation, to: str) -> Invitation:
    project = lock_project(invitation.project_id)
    require_manager_of_all(actor=actor, project=project, to=to)
    found = open_ones(project).filter(pk=invitation.pk).first()
    if found is None:
        raise Conflict("This invitation was accepted or withdrawn meanwhile.")
    return found


def _renew(invitation: Invitation) -> str:
    """A new link for the invitation, and what it carries."""
    secret = secrets.token_urlsafe(32)
    invitation.digest = _digest(secret)
    invitation.expires_at = timezone.now() + timedelta(days=settings.INVITATION_DAYS)
    invitation.sent_at = None
    return secret


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _record(invitation: Invitation, actor: User, action: str, words: str) -> None:
    data = {"email": invitation.email, "role": invitation.role, "expires": invitation.expires_at}
    record(project=invitation.project_id, actor=actor, action=action, on=invitation, words=words, data=data)


def _send(invitation: Invitation, secret: str) -> None:
    """Hand the mail over, after the invitation is kept; the page says when that could not be done."""
    context = {
        "invitation": invitation,
        "role": Role(invitation.role).label,
        "url": settings.PUBLIC_URL + reverse("invitation-open", args=[invitation.pk, secret]),
    }
    text = render_to_string("commissioning/invitations/mail.txt", context)
    subject, _, body = text.partition("\n")
    try:
        send_mail(subject.strip(), body.strip() + "\n", None, [invitation.email])
    except (OSError, smtplib.SMTPException):
        log.exception("an invitation could not be handed over: %s", invitation.pk)
        return
    invitation.sent_at = timezone.now()
    invitation.save(update_fields=["sent_at"])
