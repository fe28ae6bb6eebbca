"""Handover dossiers: asked for, built by the worker, received by the client. Nothing else makes or changes one."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from commissioning.errors import Conflict, InvalidInput, NotAllowed, ServiceError
from commissioning.models import (
    AuditEntry,
    Dossier,
    DossierScope,
    Job,
    JobState,
    Project,
    Role,
    Site,
    StageKind,
    System,
    User,
)
from commissioning.models.base import new_id
from commissioning.rules.gate_parts import NOTHING
from commissioning.selectors.dossiers import same_scope, systems_of
from commissioning.services import jobs
from commissioning.services.audit import record, sha256_of
from commissioning.services.dossier_build import build_dossier
from commissioning.services.locks import lock_project
from commissioning.services.permissions import require
from commissioning.services.repeats import already_made, refuse_other_content
from commissioning.services.signing import check_password
from commissioning.services.state_change import state_change

JOB_KIND = "dossier"
ASKERS = frozenset({Role.MANAGER, Role.CLIENT})
GOING_ON = (JobState.WAITING, JobState.RUNNING)
#: The paper by its name in the content, and in words.
PAPERS = {"A4": "A4", "LETTER": "US Letter"}
OTHER_PAPER = "This dossier is being built on other paper. Wait until it is built or cancel it, then ask again."
OVERTAKEN = "A later revision of this dossier was asked for, so this one is not built any more. Take the later one."


@state_change()
def ask_dossier(
    *,
    actor: User,
    project: Project,
    scope: str,
    site: Site | None = None,
    system: System | None = None,
    up_to: str = "",
    paper: str = "A4",
    reason: str = "",
    id: UUID | None = None,
) -> Dossier:
    """Ask for a dossier of a system, a site or the project, up to a kind of stage (empty: all stages).

    While one of the same scope and paper waits or runs, that one is answered. A scope that has a dossier gets its next
    revision.
    """
    site, system = _target(project, scope, site, system, up_to, paper)
    place = system.site_id if system else site.pk if site else None
    access = require(actor=actor, project=project, roles=ASKERS, site=place, to="ask for a dossier")
    if scope == DossierScope.PROJECT and access.site_ids is not None:
        raise NotAllowed("You see some sites of the project only. Ask for a dossier of a site or a system.")
    same = {"project_id": project.pk, "scope": scope, "site_id": site and site.pk, "system_id": system and system.pk}
    asked = {"up_to": up_to, "paper": paper, "reason": " ".join(reason.split())[:300]}
    if made := already_made(Dossier, id, **same):
        if {name: made.job.arguments.get(name) for name in asked} != asked:
            refuse_other_content()
        return made
    project = lock_project(project.pk)
    earlier = same_scope(**same, up_to=up_to).order_by("-revision").first()
    if earlier and not earlier.built_at:
        if earlier.job.state in GOING_ON:
            if earlier.job.arguments.get("paper", "A4") != paper:
                raise Conflict(OTHER_PAPER)
            return earlier
        if earlier.asked_by_id == actor.pk and earlier.job.arguments.get("paper", "A4") == paper:
            jobs.ask_again(job=earlier.job, actor=actor)
            return earlier
    return _new(actor, project, same, earlier, asked, id)


def _target(
    project: Project, scope: str, site: Site | None, system: System | None, up_to: str, paper: str
) -> tuple[Site | None, System | None]:
    """The one thing that the scope names; refused where it is missing, foreign or empty."""
    problems: dict[str, str] = {}
    site = site if scope == DossierScope.SITE else None
    system = system if scope == DossierScope.SYSTEM else None
    if scope not in DossierScope.values:
        problems["scope"] = "Choose a system, a site or the project."
    if scope == DossierScope.SITE and (site is None or site.project_id != project.pk):
        problems["site"] = "Choose a site of this project."
    if scope == DossierScope.SYSTEM and (system is None or system.project_id != project.pk):
        problems["system"] = "Choose a system of this project."
    if up_to and up_to not in StageKind.values:
        problems["up_to"] = "Choose one of the stages, or all of them."
    if paper not in PAPERS:
        problems["paper"] = "Choose A4 or US Letter."
    if not problems and not systems_of(project=project, site=site, system=system).exists():
        problems["site" if site else "scope"] = "There is no system here yet, so there is nothing to hand over."
    if problems:
        raise InvalidInput(problems)
    return site, system


def _new(
    actor: User,
    project: Project,
    same: dict[str, Any],
    earlier: Dossier | None,
    asked: dict[str, str],
    id: UUID | None,
) -> Dossier:
    """The row with its number, and its job, in the transaction that holds the project's row."""
    if earlier is None:
        project.dossier_count += 1
        project.save(update_fields=["dossier_count"])
    pk = id or new_id()
    target = same["system_id"] or same["site_id"] or same["project_id"]
    job = jobs.ask(
        project=project,
        kind=JOB_KIND,
        key=f"{JOB_KIND}:{target}:{pk}",
        asked_by=actor,
        arguments={"dossier": str(pk), **asked},
    )
    dossier = Dossier(
        pk=pk,
        **same,
        number=earlier.number if earlier else project.dossier_count,
        revision=earlier.revision + 1 if earlier else 1,
        asked_by=actor,
        job=job,
    )
    dossier.save(force_insert=True)
    record(
        project=project,
        actor=actor,
        action="dossier_asked",
        touches=NOTHING,
        on=dossier,
        system=dossier.system_id,
        words=f"Asked for dossier {dossier.label}.",
        data={"scope": dossier.scope, **asked},
    )
    return dossier


def run_dossier_job(job: Job) -> dict[str, Any] | None:
    """The job's runner: freeze the content, draw, join, sign, store. Run again, it goes on where it stopped."""
    rows = Dossier.objects.select_related("project", "site__project", "system__site__project", "asked_by", "job")
    dossier = rows.get(job=job)
    if Dossier.objects.filter(project=dossier.project, number=dossier.number, revision__gt=dossier.revision).exists():
        raise ServiceError(OVERTAKEN)
    build_dossier(job=job, dossier=dossier)
    return None


@state_change()
def receive_dossier(*, actor: User, dossier: Dossier, password: str, remark: str = "") -> AuditEntry:
    """The client signs for having received this file: name, role, time and SHA-256 go into the audit chain."""
    site = dossier.system.site_id if dossier.system else dossier.site_id
    access = require(
        actor=actor, project=dossier.project_id, roles={Role.CLIENT}, site=site, to="sign the receipt of a dossier"
    )
    check_password(signer=actor, password=password)
    lock_project(dossier.project_id)
    if dossier.built_at is None:
        raise Conflict("It is not built yet, so there is nothing to receive.")
    if AuditEntry.objects.filter(object_id=str(dossier.pk), action="dossier_received", actor=actor).exists():
        raise Conflict("You have signed for this dossier already.")
    signed = {
        "dossier": dossier.label,
        "pdf_sha256": dossier.pdf_sha256,
        "content_sha256": dossier.content_sha256,
        "name": str(actor),
        "role": Role(access.role).label,
        "remark": remark.strip(),
    }
    return record(
        project=dossier.project_id,
        actor=actor,
        action="dossier_received",
        touches=NOTHING,
        on=dossier,
        system=dossier.system_id,
        words=f"Received dossier {dossier.label}, SHA-256 {dossier.pdf_sha256}.",
        data={**signed, "signed_hash": sha256_of(signed)},
    )
