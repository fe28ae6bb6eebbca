"""Writes that create are safe to send twice: the client's UUID is the record's key."""

from __future__ import annotations

from typing import Any, NoReturn, TypeVar
from uuid import UUID

from commissioning.errors import Conflict
from commissioning.models.base import Record

RecordT = TypeVar("RecordT", bound=Record)


def said(**values: Any) -> dict[str, Any]:
    """Those values that the sender gave; what was left out (None) the service filled in, and is not compared."""
    return {name: value for name, value in values.items() if value is not None}


def refuse_other_content() -> NoReturn:
    """One UUID, two contents: somebody's record would be lost whichever of the two stood."""
    raise Conflict("This was sent before with other content. Reload to see what is recorded, then record it anew.")


def already_made(model: type[RecordT], id: UUID | None, **same: Any) -> RecordT | None:
    """The record that an earlier send of this UUID made, or None.

    `same` names the fields that must agree; a UUID that comes back with other content is a Conflict,
    never a second record and never a silent overwrite.
    """
    if id is None:
        return None
    found = model._default_manager.filter(pk=id).first()
    if found is None:
        return None
    if any(getattr(found, field) != value for field, value in same.items()):
        refuse_other_content()
    return found
