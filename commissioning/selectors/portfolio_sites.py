"""How every site stands: the counters of its systems added up, a page at a time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, DateField, IntegerField, Min, Q, QuerySet, Sum, Value
from django.db.models.functions import Coalesce

from commissioning.models import NO_DATE, Site
from commissioning.selectors.access import Access, sites_for
from commissioning.selectors.holds import MOVES, Move
from commissioning.selectors.keyset import after, key_text, key_values
from commissioning.selectors.portfolio import MOVABLE_PLACES

PAGE_SIZE = 50
_TYPES: dict[str, type] = {"code": str, "next_planned": date}
#: What the list can be sorted by; the code is unique in a project, so it settles every tie. True: most first.
SORTS: dict[str, tuple[tuple[str, ...], bool]] = {
    "site": (("code",), False),
    "move": (("movable", "code"), True),
    "items": (("a", "b", "code"), True),
    "readings": (("rejected", "code"), True),
    "planned": (("next_planned", "code"), False),
}
ADDED_UP = {
    "a": "open_a",
    "b": "open_b",
    "c": "open_c",
    "rejected": "readings_rejected",
    "missing": "readings_missing",
    "hold_points": "hold_points_open",
    "alarms": "alarms_unexplained",
    "signals": "signals_unproved",
    "lines_done": "lines_done",
    "lines_total": "lines_total",
}


@dataclass(frozen=True, slots=True)
class SitesPage:
    """One page of sites, each with its sums as attributes."""

    rows: list[Any]
    next: str


def sites_page(*, access: Access, sort: str = "site", key: str = "") -> SitesPage:
    """Sites with the sums of their systems' counters: two queries.

    By code only the page's own systems are added up; by a sum, those of every site.
    """
    columns, backwards = SORTS.get(sort, SORTS["site"])
    rows: QuerySet[Any] = sites_for(access) if columns == ("code",) else with_sums(sites_for(access))
    rows = rows.order_by(*(f"-{column}" if backwards else column for column in columns))
    values = key_values(key, [_TYPES.get(column, int) for column in columns])
    if values is not None:
        rows = rows.filter(after(columns, values, backwards=backwards))
    found = list(rows[: PAGE_SIZE + 1])
    page = found[:PAGE_SIZE]
    more = key_text([getattr(page[-1], column) for column in columns]) if len(found) > PAGE_SIZE else ""
    if columns == ("code",):
        page = list(with_sums(Site.objects.filter(pk__in=[site.pk for site in page])).order_by("code"))
    return SitesPage(rows=page, next=more)


def with_sums(sites: QuerySet[Site]) -> QuerySet[Any]:
    """Each site with what its systems' counters come to. One relation only, so nothing is counted twice."""
    sums = {
        name: Coalesce(Sum(f"system_counters__{field}"), Value(0), output_field=IntegerField())
        for name, field in ADDED_UP.items()
    }
    return sites.annotate(
        many=Count("system_counters"),
        movable=_how_many(system_counters__move__in=MOVABLE_PLACES),
        to_accept=_how_many(system_counters__move=MOVES.index(Move.ACCEPT)),
        waits=_how_many(system_counters__move=MOVES.index(Move.WAITS)),
        done=_how_many(system_counters__move=MOVES.index(Move.DONE)),
        live=_how_many(system_counters__supplies_live__gt=0),
        excepted=Count(
            "system_counters",
            filter=Q(system_counters__exceptions_stages__gt=0)
            | Q(system_counters__exceptions_lines__gt=0)
            | Q(system_counters__exceptions_items__gt=0),
        ),
        next_planned=Coalesce(Min("system_counters__planned"), Value(NO_DATE), output_field=DateField()),
        **sums,
    )


def _how_many(**such: Any) -> Count:
    return Count("system_counters", filter=Q(**such))
