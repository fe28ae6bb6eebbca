"""What can carry a label: systems and their equipment, by tag; and where a label leads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from commissioning.models import Equipment, System, User
from commissioning.selectors.access import Access, access_or_none, equipment_for, systems_for


@dataclass(frozen=True, slots=True)
class Tagged:
    """Something with a tag, as a label and the list of labels show it."""

    id: UUID
    tag: str
    words: str
    system: str
    site: str


@dataclass(frozen=True, slots=True)
class LabelsWanted:
    """What the list is narrowed to; empty text means all of it."""

    text: str = ""
    site: UUID | None = None
    system: UUID | None = None


def tagged(*, access: Access, wanted: LabelsWanted) -> list[tuple[str, UUID]]:
    """Tag and key of everything that fits, systems before their equipment; two queries however many there are."""
    systems, equipment = systems_for(access), equipment_for(access)
    if wanted.site:
        systems, equipment = systems.filter(site=wanted.site), equipment.filter(system__site=wanted.site)
    if wanted.system:
        systems, equipment = systems.filter(pk=wanted.system), equipment.filter(system=wanted.system)
    for word in wanted.text.split():
        systems = systems.filter(Q(tag__icontains=word) | Q(name__icontains=word))
        equipment = equipment.filter(Q(tag__icontains=word) | Q(description__icontains=word))
    rows = [(tag, 0, tag, key) for tag, key in systems.values_list("tag", "id")]
    rows += [(of, 1, tag, key) for of, tag, key in equipment.values_list("system__tag", "tag", "id")]
    return [(tag, key) for _, _, tag, key in sorted(rows, key=lambda row: row[:3])]


def tagged_by_key(*, access: Access, keys: Iterable[UUID]) -> list[Tagged]:
    """These, in the order given; a key that is not there, or not to be seen, is left out."""
    wanted = list(dict.fromkeys(keys))
    found: dict[UUID, Tagged] = {}
    for system in systems_for(access).filter(pk__in=wanted).select_related("site"):
        found[system.pk] = Tagged(system.pk, system.tag, system.name, system.tag, system.site.name)
    for row in equipment_for(access).filter(pk__in=wanted).select_related("system__site"):
        words = row.description or row.get_kind_display()
        found[row.pk] = Tagged(row.pk, row.tag, words, row.system.tag, row.system.site.name)
    return [found[key] for key in wanted if key in found]


def labelled(*, user: User, key: UUID) -> tuple[str, str, UUID] | None:
    """Where a label leads this person: the project's code, the page's name and the record; None for a stranger."""
    record = Equipment.objects.select_related("system").filter(pk=key).first()
    system = record.system if record else System.objects.filter(pk=key).first()
    access = access_or_none(user=user, project=system.project_id) if system else None
    if system is None or access is None or not access.covers(system.site_id):
        return None
    return access.project.code, "tag" if record else "system", key
