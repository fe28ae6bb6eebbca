"""Who is in a project, and finding somebody by what they sign in with."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from commissioning.errors import InvalidInput
from commissioning.models import Membership, User
from commissioning.selectors.access import Access


def members_of(access: Access) -> QuerySet[Membership]:
    """Everybody in the project, those who left too, by name."""
    rows = Membership.objects.filter(project=access.project).select_related("user").prefetch_related("sites")
    return rows.order_by("user__name", "user__username", "id")


def member_or_404(*, access: Access, id: UUID) -> Membership:
    found = members_of(access).filter(pk=id).first()
    if found is None:
        raise Http404("There is no such member.")
    return found


def user_named(text: str) -> User:
    """The person who signs in with this user name, else with this e-mail address; InvalidInput says what to do."""
    text = text.strip()
    rows = User.objects.filter(is_active=True)
    if found := rows.filter(username=text).first() or rows.filter(username__iexact=text).first():
        return found
    by_mail = list(rows.filter(email__iexact=text)[:2]) if "@" in text else []
    if len(by_mail) > 1:
        raise InvalidInput({"who": "More than one person has this address. Type the user name."})
    if not by_mail:
        raise InvalidInput({"who": "Nobody signs in with this. Invite them by e-mail instead."})
    return by_mail[0]
