"""Signal points with their standing proof, as the matrix and a point's own page show them."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.http import Http404

from commissioning.models import SignalPoint, SignalProof, Stage, StageState
from commissioning.selectors.access import Access
from commissioning.selectors.alarms import of_system

NOT_FORCED, FORCED, SEEN, PROVED, FAILED = "not forced", "forced", "seen", "proved", "failed"
#: Where a proof stands, and which points to show for it; `left` is a point that nobody has restored.
STATES = {
    "todo": "not proved",
    "not_forced": NOT_FORCED,
    "forced": "forced, not seen",
    "left": "not restored",
    "failed": FAILED,
    "proved": PROVED,
}


@dataclass(frozen=True, slots=True)
class SignalsWanted:
    """What the matrix is narrowed to."""

    system: str = ""
    site: str = ""
    stage: str = ""
    direction: str = ""
    state: str = ""
    text: str = ""

    @property
    def narrowed(self) -> bool:
        return self != SignalsWanted()


def proof_state(proof: SignalProof | None) -> str:
    """Where a point stands, in a word."""
    if proof is None:
        return NOT_FORCED
    if proof.failed_at:
        return FAILED
    if proof.seen_at:
        return PROVED if proof.restored_at else SEEN
    return FORCED


def standing_proof(point: SignalPoint) -> SignalProof | None:
    """The proof that stands; the point comes from `points_of`."""
    found: list[SignalProof] = point.standing  # type: ignore[attr-defined]
    return found[0] if found else None


def points_of(access: Access) -> QuerySet[SignalPoint]:
    """Every point that the person may see, with its standing proof and the state of its stage."""
    proofs = SignalProof.objects.filter(superseded_at__isnull=True)
    stage = Stage.objects.filter(system=OuterRef("system"), kind=OuterRef("stage_kind"))
    return (
        SignalPoint.objects.filter(access.limit("system__site"), system__project=access.project)
        .select_related("system__site", "equipment")
        .annotate(stage_state=Subquery(stage.values("state")[:1]))
        .prefetch_related(
            Prefetch("proofs", proofs.select_related("forced_by", "seen_by", "restored_by"), to_attr="standing")
        )
    )


def points_wanted(*, access: Access, wanted: SignalsWanted) -> QuerySet[SignalPoint]:
    """Those asked for, by site, system and their place in the list."""
    rows = points_of(access)
    if wanted.system:
        rows = rows.filter(of_system(wanted.system))
    if wanted.site:
        rows = rows.filter(system__site_id=wanted.site)
    if wanted.stage:
        rows = rows.filter(stage_kind=wanted.stage)
    if wanted.direction:
        rows = rows.filter(direction=wanted.direction)
    if wanted.state:
        rows = rows.filter(in_state(wanted.state))
    for word in wanted.text.split():
        hit = Q(tag__icontains=word) | Q(description__icontains=word) | Q(far_end__icontains=word)
        rows = rows.filter(hit | Q(system__tag__icontains=word))
    return rows.order_by("system__site__code", "system__tag", "order", "tag")


def in_state(state: str) -> Q:
    standing = SignalProof.objects.filter(point=OuterRef("pk"), superseded_at__isnull=True)
    proved = Q(Exists(standing.filter(seen_at__isnull=False, restored_at__isnull=False, failed_at__isnull=True)))
    return {
        "todo": ~proved,
        "not_forced": ~Q(Exists(standing)),
        "forced": Q(Exists(standing.filter(seen_at__isnull=True, failed_at__isnull=True))),
        "left": Q(Exists(standing.filter(restored_at__isnull=True))),
        "failed": Q(Exists(standing.filter(failed_at__isnull=False))),
        "proved": proved,
    }[state]


def signal_counts(access: Access) -> dict[str, int]:
    """How many points there are, how many are proved, and how many nobody has restored."""
    rows = SignalPoint.objects.filter(access.limit("system__site"), system__project=access.project)
    return rows.aggregate(
        points=Count("pk"), proved=Count("pk", filter=in_state("proved")), left=Count("pk", filter=in_state("left"))
    )


def asked_of(access: Access) -> list[SignalProof]:
    """Points that somebody holds forced right now, which this person may confirm at the far end; the newest first."""
    rows = SignalProof.objects.filter(
        access.limit("point__system__site"),
        point__system__project=access.project,
        superseded_at__isnull=True,
        seen_at__isnull=True,
        failed_at__isnull=True,
        restored_at__isnull=True,
    )
    if access.project.far_end_by_second_person:
        rows = rows.exclude(forced_by=access.user)
    in_hand = Stage.objects.filter(
        system=OuterRef("point__system"), kind=OuterRef("point__stage_kind"), state=StageState.STARTED
    )
    return list(rows.filter(Exists(in_hand)).select_related("point__system", "forced_by").order_by("-forced_at")[:20])


def point_or_404(*, access: Access, id: UUID) -> SignalPoint:
    found = points_of(access).select_related("system__site__project", "system__project").filter(pk=id).first()
    if found is None:
        raise Http404("There is no such signal point, or it is of a site that you do not see.")
    return found


def proof_or_404(*, access: Access, id: UUID) -> SignalProof:
    rows = SignalProof.objects.filter(access.limit("point__system__site"), point__system__project=access.project)
    found = rows.select_related("point__system__site__project", "point__system__project").filter(pk=id).first()
    if found is None:
        raise Http404("There is no such proof, or it is of a site that you do not see.")
    return found


def proofs_of(point: SignalPoint) -> QuerySet[SignalProof]:
    """Every attempt at the point, newest first."""
    return point.proofs.select_related("forced_by", "seen_by", "restored_by").order_by("-recorded_at", "-id")


def stage_of(point: SignalPoint) -> Stage | None:
    """The stage in which the point is proved."""
    return Stage.objects.filter(system=point.system_id, kind=point.stage_kind).first()
