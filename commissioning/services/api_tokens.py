"""Tokens of the API: made with a scope and an end, shown once, taken back."""

from __future__ import annotations

from datetime import timedelta

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import ApiToken, Project, TokenScope, User
from commissioning.selectors.access import access_or_none
from commissioning.selectors.second_factor import lacks_second_factor
from commissioning.services.personal import record_in_projects
from commissioning.services.state_change import state_change

LONGEST_DAYS = 366
MOST_TOKENS = 50


@state_change()
def make_token(
    *, user: User, name: str, scope: str, lasts: timedelta, project: Project | None = None
) -> tuple[ApiToken, str]:
    """A token of the person's own and what it reads; that is told this once and cannot be read again."""
    problems: dict[str, str] = {}
    if scope not in TokenScope.values:
        problems["scope"] = "Choose read, phone or write."
    if not timedelta(minutes=1) <= lasts <= timedelta(days=LONGEST_DAYS):
        problems["days"] = f"A token lasts 1 to {LONGEST_DAYS} days."
    access = access_or_none(user=user, project=project) if project else None
    if project and (access is None or lacks_second_factor(access)):
        problems["project"] = "Choose one of your projects."
    if problems:
        raise InvalidInput(problems)
    if ApiToken.objects.filter(user=user).count() >= MOST_TOKENS:
        raise Conflict(f"You have {MOST_TOKENS} tokens. Take back those that nothing uses any more.")
    token, secret = ApiToken.objects.create(
        user=user, expiry=lasts, name=name.strip()[:80], scope=scope, project=project
    )
    record_in_projects(
        user=user,
        action="token_made",
        words=f"{user} made a token of the API: {TokenScope(scope).label}, until {token.expiry:%Y-%m-%d}.",
        data={"key": token.token_key, "scope": scope, "project": project.code if project else None},
    )
    return token, secret


@state_change()
def take_back(*, user: User, key: str) -> bool:
    """The token works no more from now on. False: there is no such token of this person."""
    token = ApiToken.objects.filter(user=user, token_key=key).first()
    if token is None:
        return False
    record_in_projects(
        user=user, action="token_taken_back", words=f"{user} took back a token of the API.", data={"key": key}
    )
    token.delete()
    return True


@state_change()
def take_back_all(*, user: User) -> int:
    """None of the person's tokens works any more."""
    number = ApiToken.objects.filter(user=user).count()
    if number:
        ApiToken.objects.filter(user=user).delete()
        record_in_projects(
            user=user, action="token_taken_back", words=f"{user} took back every token of the API ({number})."
        )
    return number
