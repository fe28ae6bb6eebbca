"""Which items and in what order: one definition for page, export and API."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import Case, F, IntegerField, Q, QuerySet, Value, When
from django.utils import timezone

from commissioning.models import StageKind
from commissioning.selectors.access import Access
from punchlist.models import STANDING_STATES, Category, ItemState, PunchItem

STANDING, ANY = "standing", "any"
STATE_CHOICES = [(STANDING, "not closed"), *ItemState.choices, (ANY, "any")]
NOBODY = "nobody"

#: Columns that a list can be sorted by; the number always settles a tie, so that pages never overlap.
SORTS: dict[str, str] = {
    "number": "number",
    "category": "category",
    "state": "state",
    "system": "system__tag",
    "tag": "equipment__tag",
    "stage": "stage__order",
    "owes": "owes__name",
    "due": "due_on",
    "raised": "raised_at",
    "changed": "changed_at",
}
URGENT = "urgent"
SORT_CHOICES = [
    (URGENT, "mine, category, oldest"),
    *((name, name) for name in SORTS),
    *((f"-{name}", f"{name}, other way") for name in SORTS),
]


class ItemFilter(django_filters.FilterSet):
    """What the address of the list, of the export and of the API can ask for."""

    q = django_filters.CharFilter(method="find_words", label="search")
    mine = django_filters.BooleanFilter(method="only_mine", label="mine")
    category = django_filters.MultipleChoiceFilter(choices=Category.choices, label="category")
    state = django_filters.ChoiceFilter(choices=STATE_CHOICES, method="in_state", label="state", empty_label=None)
    site = django_filters.CharFilter(method="at_site", label="site")
    system = django_filters.CharFilter(method="in_system", label="system")
    stage = django_filters.ChoiceFilter(field_name="stage__kind", choices=StageKind.choices, label="stage")
    tag = django_filters.CharFilter(method="at_tag", label="tag")
    owes = django_filters.CharFilter(method="owed_by", label="owes")
    overdue = django_filters.BooleanFilter(method="past_due", label="overdue")
    changed_after = django_filters.IsoDateTimeFilter(field_name="changed_at", lookup_expr="gt", label="changed after")
    sort = django_filters.ChoiceFilter(choices=SORT_CHOICES, method="keep", label="sort", empty_label=None)

    class Meta:
        model = PunchItem
        fields: list[str] = []

    def __init__(self, data: Any, queryset: QuerySet[PunchItem], *, access: Access, everything: bool = False) -> None:
        """`everything`: without a word about the state, closed items are shown too (the API's way)."""
        super().__init__(data=data, queryset=queryset)
        self.access = access
        self.unless_asked = ANY if everything else STANDING

    def filter_queryset(self, queryset: QuerySet[PunchItem]) -> QuerySet[PunchItem]:
        found = super().filter_queryset(queryset)
        if not self.form.cleaned_data.get("state"):
            found = self.in_state(found, "state", self.unless_asked)
        return in_order(found, self.form.cleaned_data.get("sort") or URGENT, access=self.access)

    def find_words(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        """Each word occurs in the text or a tag; 'P-12' and '12' also mean the item of that number."""
        for word in value.split():
            hit = Q(text__icontains=word) | Q(equipment__tag__icontains=word) | Q(system__tag__icontains=word)
            if (number := word.upper().removeprefix("P-")).isascii() and number.isdigit() and len(number) < 10:
                hit |= Q(number=int(number))
            queryset = queryset.filter(hit)
        return queryset

    def only_mine(self, queryset: QuerySet[PunchItem], name: str, value: bool) -> QuerySet[PunchItem]:
        return queryset.filter(owes=self.access.user) if value else queryset

    def in_state(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        if value == ANY:
            return queryset
        return queryset.filter(state__in=STANDING_STATES if value == STANDING else [value])

    def at_site(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        """A site by its code or its key."""
        return queryset.filter(_by_key_or(value, key="system__site", words="system__site__code"))

    def in_system(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        """A system by its tag or its key."""
        return queryset.filter(_by_key_or(value, key="system", words="system__tag"))

    def at_tag(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        value = value.strip()
        return queryset.filter(
            Q(equipment__tag__icontains=value) | Q(equipment__isnull=True, system__tag__icontains=value)
        )

    def owed_by(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        """A person by key, a company by name, or 'nobody'."""
        if value == NOBODY:
            return queryset.filter(owes__isnull=True, owes_company="")
        if value.isascii() and value.isdigit() and len(value) < 10:
            return queryset.filter(owes=int(value))
        return queryset.filter(owes_company__iexact=value)

    def past_due(self, queryset: QuerySet[PunchItem], name: str, value: bool) -> QuerySet[PunchItem]:
        overdue = Q(due_on__lt=timezone.localdate(), state__in=STANDING_STATES)
        return queryset.filter(overdue) if value else queryset.exclude(overdue)

    def keep(self, queryset: QuerySet[PunchItem], name: str, value: str) -> QuerySet[PunchItem]:
        return queryset


def _by_key_or(value: str, *, key: str, words: str) -> Q:
    try:
        return Q(**{key: UUID(value)})
    except ValueError:
        return Q(**{f"{words}__iexact": value.strip()})


def in_order(queryset: QuerySet[PunchItem], sort: str, *, access: Access) -> QuerySet[PunchItem]:
    """`urgent`: mine before others, A before C, oldest first. Anything else: by that column, empty ones last."""
    if sort == URGENT:
        mine = Case(
            When(owes=access.user, state__in=(ItemState.OPEN, ItemState.SENT_BACK), then=Value(0)),
            default=Value(1),
            output_field=IntegerField(),
        )
        return queryset.alias(not_mine=mine).order_by("not_mine", "category", "raised_at", "number")
    column = F(SORTS[sort.removeprefix("-")])
    first = column.desc(nulls_last=True) if sort.startswith("-") else column.asc(nulls_last=True)
    return queryset.order_by(first, "number")
