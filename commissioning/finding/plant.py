"""Sites, systems, equipment, readings and people, as the search box finds and shows them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID

from commissioning.finding.source import Feed, Hit, Source
from commissioning.models import Membership, Reading
from commissioning.selectors.access import Access, equipment_for, sites_for, systems_for

SITE, SYSTEM, EQUIPMENT = "commissioning_site", "commissioning_system", "commissioning_equipment"
READING, LINE = "commissioning_reading", "commissioning_checkline"
MEMBERSHIP, USER = "commissioning_membership", "commissioning_user"
_JOIN_SYSTEM = f"JOIN {SYSTEM} s ON s.id = r.system_id"


def show_sites(access: Access, ids: Sequence[UUID]) -> Mapping[UUID, Hit]:
    return {one.pk: Hit(one.code, one.name, "", "site", one.pk) for one in sites_for(access).filter(pk__in=ids)}


def show_systems(access: Access, ids: Sequence[UUID]) -> Mapping[UUID, Hit]:
    rows = systems_for(access).filter(pk__in=ids).select_related("site")
    return {
        one.pk: Hit(one.tag, one.name, f"{one.get_kind_display()} · {one.site.name}", "system", one.pk, is_tag=True)
        for one in rows
    }


def show_equipment(access: Access, ids: Sequence[UUID]) -> Mapping[UUID, Hit]:
    rows = equipment_for(access).filter(pk__in=ids).select_related("system__site")
    return {
        one.pk: Hit(
            one.tag,
            one.description or one.get_kind_display(),
            " · ".join(filter(None, (one.serial_number, one.system.tag, one.system.site.name))),
            "equipment",
            one.pk,
            is_tag=True,
        )
        for one in rows
    }


def show_readings(access: Access, ids: Sequence[UUID]) -> Mapping[UUID, Hit]:
    rows = Reading.objects.filter(access.limit("system__site"), project=access.project, pk__in=ids)
    return {
        one.pk: _reading(one) for one in rows.select_related("line", "equipment", "system").defer("inputs", "result")
    }


def _reading(one: Reading) -> Hit:
    thing = one.equipment or one.system
    said = one.line.title if one.line else one.calculation.replace("_", " ").capitalize()
    detail = f"{one.get_verdict_display()} · {one.taken_at:%Y-%m-%d}"
    if one.line_id:
        return Hit(thing.tag, said, detail, "record", one.line_id, is_tag=True)
    kind = "equipment" if one.equipment_id else "system"
    return Hit(thing.tag, said, detail, kind, thing.pk, is_tag=True)


def show_people(access: Access, ids: Sequence[UUID]) -> Mapping[UUID, Hit]:
    rows = Membership.objects.filter(project=access.project, left_at__isnull=True, pk__in=ids).select_related("user")
    return {
        one.pk: Hit(one.user.get_full_name(), one.company, one.get_role_display(), "member", one.pk) for one in rows
    }


SOURCES = (
    Source(
        kind="system",
        heading="Systems",
        table=SYSTEM,
        joins="",
        project="r.project_id",
        site="r.site_id",
        title="r.tag",
        words=("r.tag", "r.name"),
        own_columns=("tag", "name", "site_id"),
        show=show_systems,
        tagged=True,
    ),
    Source(
        kind="equipment",
        heading="Equipment",
        table=EQUIPMENT,
        joins=_JOIN_SYSTEM,
        project="r.project_id",
        site="s.site_id",
        title="r.tag",
        words=(
            "r.tag",
            "r.description",
            "r.serial_number",
            "r.maker",
            "r.model",
            "CAST(r.former_tags AS text)",
        ),
        own_columns=("tag", "description", "serial_number", "maker", "model", "former_tags", "system_id"),
        show=show_equipment,
        feeds=(Feed(SYSTEM, "r.system_id", ("site_id",)),),
        tagged=True,
    ),
    Source(
        kind="reading",
        heading="Readings",
        table=READING,
        joins=(
            f"{_JOIN_SYSTEM} LEFT JOIN {EQUIPMENT} e ON e.id = r.equipment_id LEFT JOIN {LINE} l ON l.id = r.line_id"
        ),
        project="r.project_id",
        site="s.site_id",
        title="COALESCE(e.tag, s.tag)",
        tag="COALESCE(e.tag, s.tag)",
        words=("COALESCE(e.tag, s.tag)", "REPLACE(r.calculation, '_', ' ')", "l.title", "r.remark"),
        own_columns=("superseded_at", "equipment_id"),
        show=show_readings,
        standing="r.superseded_at IS NULL",
        feeds=(
            Feed(SYSTEM, "r.system_id", ("site_id", "tag")),
            Feed(EQUIPMENT, "r.equipment_id", ("tag",)),
            Feed(LINE, "r.line_id", ("title",)),
        ),
        named=False,
    ),
    Source(
        kind="site",
        heading="Sites",
        table=SITE,
        joins="",
        project="r.project_id",
        site="r.id",
        title="r.code",
        words=("r.code", "r.name"),
        own_columns=("code", "name"),
        show=show_sites,
        tagged=True,
    ),
    Source(
        kind="person",
        heading="People",
        table=MEMBERSHIP,
        joins=f"JOIN {USER} u ON u.id = r.user_id",
        project="r.project_id",
        site="NULL",
        title="u.name",
        words=("u.name", "r.company"),
        own_columns=("company", "left_at", "user_id"),
        show=show_people,
        standing="r.left_at IS NULL",
        feeds=(Feed(USER, "r.user_id", ("name",)),),
    ),
)
