"""Who may do what. Each service function asks here before it does anything."""

from __future__ import annotations

from collections.abc import Collection
from uuid import UUID

from commissioning.errors import NotAllowed, SecondFactorNeeded
from commissioning.models import Project, Role, User
from commissioning.selectors.access import Access, access_or_none
from commissioning.selectors.second_factor import lacks_second_factor

MANAGERS = frozenset({Role.MANAGER})
WORKERS = frozenset({Role.MANAGER, Role.FIELD_ENGINEER})
EVERYONE = frozenset({Role.MANAGER, Role.FIELD_ENGINEER, Role.CLIENT})


def require(*, actor: User, project: Project | UUID, roles: Collection[str], site: UUID | None, to: str) -> Access:
    """The actor's access, or NotAllowed with a sentence. `site` None: the act concerns the whole project."""
    access = access_or_none(user=actor, project=project)
    if access is None or (site is not None and not access.covers(site)):
        raise NotAllowed(f"You are not a member here, so you cannot {to}. Ask a manager of the project to add you.")
    if lacks_second_factor(access):
        raise SecondFactorNeeded()
    if access.role not in roles:
        needed = " or ".join(sorted(Role(role).label for role in roles))
        raise NotAllowed(f"As {Role(access.role).label} you cannot {to}. A {needed} can.")
    return access
