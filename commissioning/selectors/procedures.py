"""A project's copies of procedures beside the bundled ones they came from."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count, QuerySet
from django.http import Http404

from commissioning.models import CheckLine, Procedure, ProcedureLine, StageKind, System, SystemKind
from commissioning.procedures.loader import ProcedureData, bundled
from commissioning.selectors.access import Access, systems_for


@dataclass(frozen=True, slots=True)
class ProcedureRow:
    """A bundled procedure with the project's copy of it, if there is one."""

    newest: ProcedureData
    versions: tuple[int, ...]
    copy: Procedure | None
    systems: int

    @property
    def kind_words(self) -> str:
        return SystemKind(self.newest.system_kind).label

    @property
    def newer(self) -> bool:
        """A newer version than the copy's is bundled."""
        return self.copy is not None and self.copy.source_version < self.newest.version


def procedure_rows(access: Access) -> list[ProcedureRow]:
    """Every bundled procedure with the project's copy and how many systems it is for; two queries."""
    copies = {row.key: row for row in Procedure.objects.filter(project=access.project).annotate(count=Count("lines"))}
    counts = dict(systems_for(access).order_by().values_list("kind").annotate(count=Count("pk")))
    versions: dict[str, list[ProcedureData]] = {}
    for one in bundled():
        versions.setdefault(one.key, []).append(one)
    rows = []
    for key, found in versions.items():
        newest = max(found, key=lambda one: one.version)
        numbers = tuple(sorted(one.version for one in found))
        rows.append(ProcedureRow(newest, numbers, copies.get(key), counts.get(newest.system_kind, 0)))
    return sorted(rows, key=lambda row: (row.copy is None, row.newest.title))


def versions_of(key: str) -> list[ProcedureData]:
    """The bundled versions of a procedure, newest first."""
    return sorted((one for one in bundled() if one.key == key), key=lambda one: -one.version)


def procedure_or_404(*, access: Access, id: UUID) -> Procedure:
    found = Procedure.objects.filter(project=access.project, pk=id).select_related("project").first()
    if found is None:
        raise Http404("There is no such procedure in this project.")
    return found


def procedure_line_or_404(*, access: Access, id: UUID) -> ProcedureLine:
    rows = ProcedureLine.objects.filter(procedure__project=access.project).select_related("procedure__project")
    found = rows.filter(pk=id).first()
    if found is None:
        raise Http404("There is no such line in this project's procedures.")
    return found


def lines_by_stage(procedure: Procedure) -> list[tuple[str, list[ProcedureLine]]]:
    """The lines under the words of their stage, in order."""
    found: dict[str, list[ProcedureLine]] = {kind: [] for kind in StageKind.values}
    for line in procedure.lines.order_by("order"):
        found[line.stage_kind].append(line)
    return [(StageKind(kind).label, lines) for kind, lines in found.items() if lines]


def systems_of_kind(access: Access, kind: str) -> QuerySet[System]:
    """Systems that a procedure for this kind can be laid out on."""
    return systems_for(access).filter(kind=kind).select_related("site").order_by("site__code", "tag")


def laid_out(systems: QuerySet[System], *, key: str) -> dict[UUID, str]:
    """The newest version of the procedure that stands on each system, by system; empty where none does."""
    rows = CheckLine.objects.filter(stage__system__in=systems, procedure_key=key, retired_at__isnull=True)
    found: dict[UUID, str] = {}
    pairs = rows.order_by().values_list("stage__system_id", "procedure_version").distinct()
    for system_id, version in pairs:
        found[system_id] = max(found.get(system_id, ""), version, key=version_order)
    return found


def version_order(version: str) -> tuple[int, ...]:
    """`1.10` comes after `1.9`."""
    return tuple(int(part) for part in version.split(".") if part.isdigit())


def stage_lines(line: ProcedureLine) -> list[ProcedureLine]:
    """The lines of its stage in their order, itself among them."""
    rows = ProcedureLine.objects.filter(procedure=line.procedure_id, stage_kind=line.stage_kind)
    return list(rows.order_by("order", "key").only("pk", "key", "title"))
