"""Signal points: forced at one end, seen at the far end, restored; or failed, with what was wrong."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, Refused
from commissioning.models import SignalPoint, SignalProof, Stage, StageState, User
from commissioning.rules.gate import Blocker, Rule
from commissioning.rules.gate_parts import SIGNALS
from commissioning.services.audit import record
from commissioning.services.locks import lock_system
from commissioning.services.permissions import EVERYONE, WORKERS, require
from commissioning.services.repeats import already_made, said
from commissioning.services.state_change import state_change


@state_change()
def force_signal(*, actor: User, point: SignalPoint, at: datetime | None = None, id: UUID | None = None) -> SignalProof:
    """A point is forced: a new proof begins and supersedes the one before."""
    if found := already_made(SignalProof, id, point_id=point.pk, forced_by_id=actor.pk, **said(forced_at=at)):
        return found
    system = lock_system(point.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="force a signal")
    _refuse_unless_in_hand(point)
    now = timezone.now()
    point.proofs.filter(superseded_at__isnull=True).update(superseded_at=now)
    proof = SignalProof(point=point, forced_by=actor, forced_at=at or now)
    if id is not None:
        proof.pk = id
    proof.save(force_insert=True)
    _say(actor, proof, "signal_forced", "forced")
    return proof


def _refuse_unless_in_hand(point: SignalPoint) -> None:
    stage = Stage.objects.select_related("system").get(system_id=point.system_id, kind=point.stage_kind)
    if stage.state == StageState.STARTED:
        return
    words = f"{stage} is {stage.get_state_display()}; its signal points are proved while it is in hand."
    raise Refused([Blocker(Rule.SIGNALS, "stage_not_in_hand", words, point.tag, "manager", "stage", str(stage.pk))])


@state_change()
def see_signal(
    *, actor: User, proof: SignalProof, at: datetime | None = None, response_seconds: float | None = None
) -> SignalProof:
    """Somebody at the far end saw the forced point; by the project's rule, a second person."""
    system, proof = _locked(actor, proof, "confirm a signal")
    if proof.seen_at:
        return proof
    if system.project.far_end_by_second_person and proof.forced_by_id == actor.pk:
        raise InvalidInput(
            {"seen_by": "You forced this point. Somebody else confirms it at the far end, under their own sign-in."}
        )
    proof.seen_by, proof.seen_at = actor, at or timezone.now()
    measured = (proof.seen_at - proof.forced_at).total_seconds()
    proof.response_seconds = response_seconds if response_seconds is not None else max(measured, 0.0)
    proof.save(update_fields=["seen_by", "seen_at", "response_seconds"])
    _say(actor, proof, "signal_seen", "seen at the far end")
    return proof


@state_change()
def restore_signal(*, actor: User, proof: SignalProof, at: datetime | None = None) -> SignalProof:
    """The point is back to normal, so that no forced signal is left behind."""
    _, proof = _locked(actor, proof, "restore a signal", failed_too=True)
    if proof.restored_at:
        return proof
    proof.restored_by, proof.restored_at = actor, at or timezone.now()
    proof.save(update_fields=["restored_by", "restored_at"])
    _say(actor, proof, "signal_restored", "restored")
    return proof


@state_change()
def fail_signal(*, actor: User, proof: SignalProof, reason: str, at: datetime | None = None) -> SignalProof:
    """The far end did not see it, or saw something else."""
    _, proof = _locked(actor, proof, "fail a signal")
    if not reason.strip():
        raise InvalidInput({"reason": "Say what the far end saw instead."})
    if proof.seen_at:
        raise Conflict("This proof was seen at the far end already. Force the point again to begin a new one.")
    proof.failed_at, proof.failed_reason = at or timezone.now(), reason.strip()
    proof.save(update_fields=["failed_at", "failed_reason"])
    _say(actor, proof, "signal_failed", f"failed: {proof.failed_reason}")
    return proof


def _locked(actor: User, proof: SignalProof, to: str, *, failed_too: bool = False) -> tuple:
    system = lock_system(proof.point.system_id)
    require(actor=actor, project=system.project, roles=EVERYONE, site=system.site_id, to=to)
    proof = SignalProof.objects.select_related("point").get(pk=proof.pk)
    if proof.superseded_at:
        raise Conflict(f"{proof.point.tag} was forced again since. Look at the newer proof.")
    if proof.failed_at and not failed_too:
        raise Conflict(f"This proof of {proof.point.tag} failed. Force the point again to begin a new one.")
    _refuse_unless_in_hand(proof.point)
    return system, proof


def _say(actor: User, proof: SignalProof, action: str, words: str) -> None:
    system = proof.point.system
    record(
        project=system.project,
        actor=actor,
        action=action,
        touches={SIGNALS},
        on=proof.point,
        system=system.pk,
        words=f"{system.tag}: signal point {proof.point.tag} {words}.",
        data={"proof": proof.pk},
    )
