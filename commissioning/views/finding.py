"""Systems as a filter bar or a form names them: by key in an address, by tag to a person."""

from __future__ import annotations

from uuid import UUID

from commissioning.forms.fields import OFFERED
from commissioning.models import System
from commissioning.selectors.access import Access, systems_for


def system_named(access: Access, text: str) -> System | None:
    """The system that an address names by its key or its tag, if the person may see it."""
    rows = systems_for(access).select_related("site__project", "project")
    try:
        return rows.filter(pk=UUID(text)).first()
    except ValueError:
        return rows.filter(tag__iexact=text.strip()).first() if text.strip() else None


def tags_offered(access: Access) -> list[str]:
    """Tags of systems for a list that opens while typing."""
    return list(systems_for(access).order_by("tag").values_list("tag", flat=True)[:OFFERED])
