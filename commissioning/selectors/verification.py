"""Readings that were verified again, and what a manager still has to decide about them."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Case, Count, F, Q, QuerySet, When
from django.http import Http404

from commissioning.models import Equipment, Instrument, Project, System, VerificationChange, VerificationRun
from commissioning.selectors.access import Access

SCOPE_MODELS: dict[str, type[System] | type[Equipment] | type[Instrument]] = {
    "system": System,
    "equipment": Equipment,
    "instrument": Instrument,
}


def runs_of(access: Access) -> QuerySet[VerificationRun]:
    """Runs of the project with how much they changed at the sites that the person sees, newest first."""
    seen = access.limit("changes__reading__system__site")
    rows = VerificationRun.objects.filter(project=access.project).select_related("asked_by", "job")
    return rows.annotate(
        changed=Count("changes", filter=seen if seen else None),
        waiting=Count("changes", filter=Q(changes__decided_at__isnull=True) & seen),
    ).order_by("-asked_at", "-id")


def run_or_404(*, access: Access, id: UUID) -> VerificationRun:
    found = runs_of(access).filter(pk=id).first()
    if found is None:
        raise Http404("There is no such run in this project.")
    return found


#: Ways to narrow the changes of a run: its verdict is another one, or only its numbers are.
TURNED = ~Q(verdict=F("reading__verdict"))
KINDS = {"": Q(), "verdict": TURNED, "numbers": ~TURNED}


@dataclass(frozen=True, slots=True)
class ChangeCounts:
    """How many changes of a run there are of each kind, and how many of those wait for a decision."""

    total: dict[str, int]
    waiting: dict[str, int]


def change_counts(run: VerificationRun, access: Access) -> ChangeCounts:
    """In one query, at the sites that the person sees."""
    rows = VerificationChange.objects.filter(access.limit("reading__system__site"), run=run)
    waits = Q(decided_at__isnull=True)
    found = rows.aggregate(
        **{f"total_{kind}": Count("pk", filter=narrow) for kind, narrow in KINDS.items() if kind},
        **{f"waiting_{kind}": Count("pk", filter=narrow & waits) for kind, narrow in KINDS.items() if kind},
    )
    parts = [{kind: found[f"{part}_{kind}"] for kind in KINDS if kind} for part in ("total", "waiting")]
    total, waiting = ({"": sum(part.values()), **part} for part in parts)
    return ChangeCounts(total, waiting)


def changes_of_run(run: VerificationRun, access: Access, *, kind: str = "") -> QuerySet[VerificationChange]:
    """Readings whose result is no longer what it was; those that wait for a decision first, those that turned ahead."""
    rows = VerificationChange.objects.filter(access.limit("reading__system__site"), KINDS.get(kind, Q()), run=run)
    rows = rows.select_related(
        "reading__line__stage", "reading__equipment", "reading__system", "reading__by", "decided_by"
    )
    turned_first = Case(When(TURNED, then=0), default=1)
    return rows.order_by(F("decided_at").asc(nulls_first=True), turned_first, "reading__system__tag", "id")


def change_or_404(*, access: Access, id: UUID) -> VerificationChange:
    rows = VerificationChange.objects.filter(access.limit("reading__system__site"), run__project=access.project)
    found = rows.select_related("reading__line__stage", "reading__system", "run").filter(pk=id).first()
    if found is None:
        raise Http404("There is no such change in this project.")
    return found


def scope_words(project: Project, scope: dict[str, str]) -> str:
    """What a run was narrowed to, in words."""
    words = []
    for name, value in scope.items():
        model = SCOPE_MODELS.get(name)
        found = model.objects.filter(project=project, pk=value).first() if model else None
        words.append(f"{name} {found or value}".replace("_", " "))
    return ", ".join(words) or "every reading"
