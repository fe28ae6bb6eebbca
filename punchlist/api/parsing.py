"""Keys in a request's body become records of the project, or a refusal that names the field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import Http404

from commissioning.errors import InvalidInput
from commissioning.models import Equipment, User
from commissioning.selectors.access import Access, equipment_for
from punchlist.selectors.items import members_for
from punchlist.selectors.places import Place, place_at, place_of_alarm, place_of_line


def place_in(access: Access, given: Mapping[str, Any]) -> Place:
    """The place that the body names, by the narrowest record in it."""
    try:
        if line := given.get("line"):
            return place_of_line(access, line)
        if alarm := given.get("alarm"):
            return place_of_alarm(access, alarm)
        return place_at(access, equipment=given.get("equipment"), system=given.get("system"), stage=given.get("stage"))
    except Http404 as error:
        word = next(word for word in ("line", "alarm", "equipment", "system") if given.get(word))
        raise InvalidInput({word: str(error)}) from error


def owner_in(access: Access, key: int | None) -> User | None:
    """The member of this key; None stays nobody."""
    if key is None:
        return None
    member = members_for(access).filter(user=key).first()
    if member is None:
        raise InvalidInput({"owes": "Choose somebody who is a member of this project."})
    return member.user


def equipment_in(access: Access, key: Any) -> Equipment | None:
    if key is None:
        return None
    found = equipment_for(access).filter(pk=key).first()
    if found is None:
        raise InvalidInput({"equipment": "There is no such equipment in this project."})
    return found


def who_and_when(access: Access, given: Mapping[str, Any]) -> dict[str, Any]:
    """The arguments of a service that say who owes it and until when; what the body leaves out is left out."""
    found = {word: given[word] for word in ("owes_company", "due_on") if word in given}
    if "owes" in given:
        found["owes"] = owner_in(access, given["owes"])
    return found
