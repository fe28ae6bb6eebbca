"""What stands behind a sheet: how its rows are read from the register and written to it, in few queries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from typing import Any, Protocol, TypeVar
from uuid import UUID

from django.db import models
from django.db.models import Model, Q, QuerySet

from commissioning.models import Project, User
from commissioning.models.base import new_id
from commissioning.selectors.access import Access

from .plan import Check, PlannedRow, SheetPlan
from .recorded import Recorded
from .sheet import NAMEPLATE, Key, Sheet

CHUNK = 1000
_FETCH = 2000
T = TypeVar("T")


@dataclass
class Work:
    """One import while it is written: for which project, by whom, and which key has which id by now."""

    project: Project
    actor: User
    at: datetime
    ids: dict[str, dict[Key, UUID]] = field(default_factory=dict)
    wrote: Callable[[int], None] = lambda count: None

    def id_of(self, sheet: str, value: Any) -> UUID | None:
        return None if value is None else self.ids[sheet][(value,)]


class Keeper(Protocol):
    """A sheet and its place in the register. Settings name those of other rooms in REGISTER_SHEETS."""

    @property
    def sheet(self) -> Sheet: ...

    @property
    def checks(self) -> Sequence[Check]:
        """What the sheet's rows must agree on, beyond each cell on its own."""
        ...

    def recorded(self, *, project: Project, access: Access | None) -> Iterator[Recorded]:
        """What the register holds for the sheet, in its order; `access` limits it to what a person may see."""
        ...

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        """Add and change what the plan says, inside the caller's transaction, and put new ids into `work.ids`."""
        ...


@dataclass(frozen=True)
class ModelKeeper:
    """A sheet whose rows are the rows of one model.

    `paths` says where a column is found when it is not a field of the same name: `site` → `site__code`.
    """

    sheet: Sheet
    model: type[Model]
    checks: Sequence[Check] = ()
    paths: Mapping[str, str] = field(default_factory=dict)
    project_path: str = "project"
    site_path: str | None = None
    settled_field: str = ""
    order: tuple[str, ...] = ("pk",)

    @property
    def has_nameplate(self) -> bool:
        return any(column.name.startswith(NAMEPLATE) for column in self.sheet.columns)

    @property
    def plain_columns(self) -> list[str]:
        return [column.name for column in self.sheet.columns if not column.name.startswith(NAMEPLATE)]

    def rows(self, *, project: Project, access: Access | None) -> QuerySet[Any]:
        limit = access.limit(self.site_path) if access and self.site_path is not None else Q()
        return self.model._default_manager.filter(limit, **{self.project_path: project})

    def recorded(self, *, project: Project, access: Access | None) -> Iterator[Recorded]:
        names = self.plain_columns
        extra = (["nameplate"] if self.has_nameplate else []) + ([self.settled_field] if self.settled_field else [])
        fields = ["pk", *(self.paths.get(name, name) for name in names), *extra]
        found = self.rows(project=project, access=access).order_by(*self.order)
        for pk, *cells in found.values_list(*fields).iterator(chunk_size=_FETCH):
            values = dict(zip(names, cells, strict=False))
            rest = cells[len(names) :]
            if self.has_nameplate:
                values.update({NAMEPLATE + key: value for key, value in (rest.pop(0) or {}).items()})
            yield self.as_recorded(pk, values, settled=bool(rest and rest[0]))

    def as_recorded(self, pk: UUID, values: dict[str, Any], *, settled: bool) -> Recorded:
        columns = self.sheet.by_name
        values = {
            name: normal
            for name, value in values.items()
            if name in columns and (normal := columns[name].normal(value)) is not None
        }
        return Recorded(pk, (self.sheet.key_of(values),), values, settled)

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        ids = work.ids.setdefault(self.sheet.name, {})
        for planned in (*plan.added, *plan.changed):
            planned.pk = planned.pk or new_id()
            ids[planned.row.key] = planned.pk
        for some in chunks(plan.added, CHUNK):
            self.model._default_manager.bulk_create([self.build(work, planned) for planned in some])
            work.wrote(len(some))
        for some in chunks(plan.changed, CHUNK):
            self.change(work, some)
            work.wrote(len(some))

    def build(self, work: Work, planned: PlannedRow) -> Model:
        one = self.model(pk=planned.pk)
        if self.project_path == "project":
            one.project = work.project  # type: ignore[attr-defined]
        for name, value in planned.values.items():
            if value is not None:
                self.put(work, one, name, value)
        return one

    def change(self, work: Work, some: Sequence[PlannedRow]) -> None:
        """Only the fields that the rows change are written, a few statements for the whole chunk."""
        found = self.model._default_manager.in_bulk([planned.pk for planned in some])
        touched: set[str] = set()
        for planned in some:
            for name, (_, new) in planned.changes.items():
                touched.add(self.put(work, found[planned.pk], name, new))
        self.model._default_manager.bulk_update(list(found.values()), sorted(touched), batch_size=200)

    def put(self, work: Work, one: Model, name: str, value: Any) -> str:
        """Set a column's value on the object; answers which field that is."""
        if name.startswith(NAMEPLATE):
            key = name.removeprefix(NAMEPLATE)
            nameplate = {k: v for k, v in one.nameplate.items() if k != key}  # type: ignore[attr-defined]
            one.nameplate = nameplate if value is None else {**nameplate, key: value}  # type: ignore[attr-defined]
            return "nameplate"
        column = self.sheet.by_name[name]
        if column.refers_to:
            attribute = self.paths[name].split("__")[0]
            setattr(one, f"{attribute}_id", work.id_of(column.refers_to, value))
            return attribute
        setattr(one, name, _empty(self.model, name) if value is None else _stored(value))
        return name


def _empty(model: type[Model], name: str) -> Any:
    """What an emptied field holds: its default, else empty text."""
    field = model._meta.get_field(name)
    if isinstance(field, models.Field) and field.has_default():
        return field.get_default()
    return ""


def _stored(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def chunks(items: Iterable[T], size: int) -> Iterator[list[T]]:
    source = iter(items)
    while some := list(islice(source, size)):
        yield some
