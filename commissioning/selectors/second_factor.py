"""Who has to sign in with a second factor, and who has one."""

from __future__ import annotations

from commissioning.models import Role, SecondFactorFor
from commissioning.selectors.access import Access
from commissioning.sign_in.second_factor import is_enrolled


def needs_second_factor(access: Access) -> bool:
    """What the project asks of this person."""
    asked = access.project.second_factor
    return asked == SecondFactorFor.EVERYONE or (asked == SecondFactorFor.MANAGERS and access.role == Role.MANAGER)


def lacks_second_factor(access: Access) -> bool:
    """True when the project asks for a second factor that this person has not set up; asks nothing where none is."""
    return needs_second_factor(access) and not is_enrolled(access.user)
