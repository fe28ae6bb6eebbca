"""Filters of lists: each is a word of the query; a word that nobody knows is refused, not passed over."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django import forms
from django.db.models import Q, QuerySet

TEXT_LIMIT = 200


class KeyOr(django_filters.CharFilter):
    """A record by its key, or by the word that people call it by (a site's code, a tag)."""

    def __init__(self, *, key: str, word: str, **more: Any) -> None:
        super().__init__(max_length=TEXT_LIMIT, **more)
        self.key, self.word = key, word

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        if not value:
            return qs
        try:
            return qs.filter(**{self.key: UUID(value)})
        except ValueError:
            return qs.filter(**{f"{self.word}__iexact": value.strip()})


class TextFilter(django_filters.CharFilter):
    """Every word occurs in one of the fields."""

    def __init__(self, *fields: str, **more: Any) -> None:
        super().__init__(max_length=TEXT_LIMIT, **more)
        self.fields = fields

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        for word in (value or "").split():
            hit = Q()
            for field in self.fields:
                hit |= Q(**{f"{field}__icontains": word})
            qs = qs.filter(hit)
        return qs


class TruthField(forms.Field):
    """`true` or `false`; anything else is refused, where the usual field would pass over it."""

    default_error_messages = {"invalid": "Say true or false."}

    def to_python(self, value: Any) -> bool | None:
        if value in (None, ""):
            return None
        found = {"true": True, "false": False}.get(str(value).lower())
        if found is None:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        return found


class TruthFilter(django_filters.BooleanFilter):
    """A word of the query that is true or false."""

    field_class = TruthField

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"widget": forms.TextInput, **more})


class StandingFilter(TruthFilter):
    """True: what stands. False: what was superseded, or taken back."""

    def filter(self, qs: QuerySet[Any], value: bool | None) -> QuerySet[Any]:
        return qs if value is None else qs.filter(**{f"{self.field_name}__isnull": value})


def site_filter(field: str = "system__site") -> KeyOr:
    return KeyOr(key=field, word=f"{field}__code", label="Site, by key or code.")


def system_filter(field: str = "system") -> KeyOr:
    return KeyOr(key=field, word=f"{field}__tag", label="System, by key or tag.")
