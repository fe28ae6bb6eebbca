"""Which tables belong to a project, and how their rows lead to it: found from the models, not listed by hand."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db.models import AutoField, Field, ForeignKey, Model, Q, QuerySet

from commissioning.models import Project, User

#: Models of the exported apps that are no part of a project, each with the reason.
NOT_OF_A_PROJECT = {
    "commissioning.User": "people are exported apart, without their passwords",
    "commissioning.FindEntry": "the index of the search: the database writes it as the rows come in",
    "commissioning.FindWord": "the same",
    "commissioning.User_groups": "rights in this installation",
    "commissioning.User_user_permissions": "rights in this installation",
    "commissioning.ApiToken": "a way into this installation; that it was made is in the audit log",
    "commissioning.Invitation": "a way into this installation; that it was sent is in the audit log",
    "commissioning.Invitation_sites": "the same",
    "commissioning.Mail": "what waits for the mail server of this installation",
    "commissioning.PersonalClock": "a person's own, whatever the project",
    "commissioning.StageCounters": "counted anew from the rows that are taken in",
    "commissioning.SystemCounters": "counted anew from the rows that are taken in",
}
#: Rows that say how an export was made are no part of what is exported.
LEFT_OUT = {"commissioning.Job": Q(kind="export_project")}


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the export: its model, the lookup from a row to its project, its columns in order."""

    model: type[Model]
    path: str
    fields: tuple[Field[Any, Any], ...]

    @property
    def name(self) -> str:
        """`commissioning.reading`, as the file is called."""
        return str(self.model._meta.label_lower)

    @property
    def file(self) -> str:
        return f"tables/{self.name}.jsonl"

    def rows(self, project: Project) -> QuerySet[Any]:
        """The project's rows, in an order that does not depend on when they were written."""
        found = self.model._base_manager.filter(**{self.path: project.pk})
        if left_out := LEFT_OUT.get(self.model._meta.label):
            found = found.exclude(left_out)
        return found.order_by(*self.order)

    @property
    def order(self) -> Sequence[str]:
        if self.fields[0].primary_key:
            return ["pk"]
        named = [str(name) for name in self.model._meta.ordering or ()]
        return named or [field.attname for field in self.fields if isinstance(field, ForeignKey)]

    @property
    def people(self) -> list[str]:
        """Columns that name a person."""
        return [field.attname for field in self.fields if field.related_model is User]


@cache
def tables() -> tuple[Table, ...]:
    """Every table that belongs to a project, what others point at first as far as that goes."""
    found = []
    for model in _models():
        if model._meta.label not in NOT_OF_A_PROJECT:
            path = path_to_project(model)
            if path is None:
                raise LookupError(
                    f"{model._meta.label} leads to no project: give it a way there, or name it in NOT_OF_A_PROJECT."
                )
            found.append(Table(model, path, _fields(model)))
    return tuple(found)


def path_to_project(model: type[Model]) -> str | None:
    """The shortest way over foreign keys, those that are always set before those that may be empty."""
    if model is Project:
        return "pk"
    for may_be_empty in (False, True):
        waiting: deque[tuple[type[Model], str]] = deque([(model, "")])
        seen = {model}
        while waiting:
            current, before = waiting.popleft()
            for field in _ways(current, may_be_empty):
                there = field.related_model
                if there is Project:
                    return f"{before}{field.name}"
                if there is not User and there not in seen:
                    seen.add(there)
                    waiting.append((there, f"{before}{field.name}__"))
    return None


def _models() -> Iterator[type[Model]]:
    for label in settings.EXPORTED_APPS:
        yield from apps.get_app_config(label).get_models(include_auto_created=True)


def _ways(model: type[Model], may_be_empty: bool) -> list[Any]:
    return [field for field in model._meta.concrete_fields if field.is_relation and (may_be_empty or not field.null)]


def _fields(model: type[Model]) -> tuple[Field[Any, Any], ...]:
    """All columns; a number that the database gives is left out, since nothing points at it."""
    return tuple(field for field in model._meta.concrete_fields if not isinstance(field, AutoField))
