"""Notices to witnesses after they were given: moved, cancelled, answered."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import (
    AnswerKind,
    Membership,
    NoticeKind,
    Role,
    System,
    User,
    WitnessAnswer,
    WitnessNotice,
)
from commissioning.rules.gate_parts import LINES, NOTHING
from commissioning.services.audit import record
from commissioning.services.locks import lock_system
from commissioning.services.notices import News, listeners, tell
from commissioning.services.permissions import EVERYONE, WORKERS, require
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change
from commissioning.services.witness_mail import local_words, tell_cancelled, tell_party

LONGEST = 2000


@state_change()
def move_notice(*, actor: User, notice: WitnessNotice, planned_for: datetime, words: str = "") -> WitnessNotice:
    """Invite for another time; the notice for the old time does not count any more."""
    system, notice = _standing(notice, actor=actor, to="move a notice")
    if planned_for < timezone.now():
        raise InvalidInput({"planned_for": "A notice is given for a time that is still to come."})
    if planned_for == notice.planned_for:
        raise InvalidInput({"planned_for": "It is planned for this time already."})
    at = local_words(planned_for, system)
    _withdraw(notice, actor=actor, reason=f"Moved to {at}.")
    moved = WitnessNotice.objects.create(
        line=notice.line,
        planned_for=planned_for,
        given_by=actor,
        words=words or notice.words,
        series=notice.first,
        sequence=notice.sequence + 1,
    )
    _record(notice, system, actor, "notice_moved", f"notice moved to {at}", moved=moved.pk, planned_for=planned_for)
    tell_party(moved, system=system, but=actor, moved_from=notice)
    return moved


@state_change()
def cancel_notice(*, actor: User, notice: WitnessNotice, reason: str) -> WitnessNotice:
    """The invited need not come; a witness point is without a notice again."""
    system, notice = _standing(notice, actor=actor, to="cancel a notice")
    if not reason.strip():
        raise InvalidInput({"reason": "Say why it is cancelled; whoever was invited reads it."})
    _withdraw(notice, actor=actor, reason=reason.strip()[:LONGEST])
    _record(notice, system, actor, "notice_cancelled", f"notice cancelled ({notice.withdrawn_reason})")
    tell_cancelled(notice, system=system, but=actor)
    return notice


@state_change()
def answer_notice(
    *,
    actor: User,
    notice: WitnessNotice,
    answer: str,
    other_time: datetime | None = None,
    remark: str = "",
    by_mail: bool = False,
    id: UUID | None = None,
) -> WitnessAnswer:
    """Somebody of the invited party says whether they come. Whoever invited is told; the work goes by its own rules."""
    if found := already_made(WitnessAnswer, id, notice_id=notice.pk, by_id=actor.pk, answer=answer):
        return found
    system = lock_system(notice.line.stage.system_id)
    access = require(actor=actor, project=system.project, roles=EVERYONE, site=system.site_id, to="answer a notice")
    notice = _fresh(notice)
    party = notice.line.party or Role.CLIENT
    if access.role != party:
        raise NotAllowed(f"This point names the {Role(party).label}. Only they answer its notice.")
    _refuse_withdrawn(notice)
    other_time = _checked(answer, other_time)
    said = WitnessAnswer(
        notice=notice, by=actor, answer=answer, other_time=other_time, remark=remark.strip()[:LONGEST], by_mail=by_mail
    )
    if id is not None:
        said.pk = id
    said.save(force_insert=True)
    words = f"{actor} {AnswerKind(answer).label}{f': {local_words(other_time, system)}' if other_time else ''}"
    how = " by the link in their mail" if by_mail else ""
    _record(notice, system, actor, "notice_answered", f"{words}{how}", touches=NOTHING, answer=said.pk, remark=remark)
    _tell_inviter(notice, system, actor, words=words, remark=said.remark, key=said.pk)
    return said


def may_answer(notice: WitnessNotice, membership: Membership) -> bool:
    """Whether this member is of the party that was invited, and it can still be answered."""
    return membership.role == (notice.line.party or Role.CLIENT) and notice.withdrawn_at is None


def _checked(answer: str, other_time: datetime | None) -> datetime | None:
    if answer not in AnswerKind.values:
        raise InvalidInput({"answer": "Choose one of the answers."})
    if answer != AnswerKind.OTHER_TIME:
        return None
    if other_time is None:
        raise InvalidInput({"other_time": "Say which time would do, as 2026-03-31 14:30."})
    if other_time < timezone.now():
        raise InvalidInput({"other_time": "Ask for a time that is still to come."})
    return other_time


def _tell_inviter(notice: WitnessNotice, system: System, actor: User, *, words: str, remark: str, key: UUID) -> None:
    said = f"{system.tag}, '{notice.line.title}': {words}{f' ({remark})' if remark else ''}."
    news = News(NoticeKind.ANSWER, f"answer:{key}", said, "witness-notice", notice.pk, site=system.site_id)
    managers = listeners(system.project_id, kind=NoticeKind.ANSWER).filter(role=Role.MANAGER)
    people = {notice.given_by_id, *managers.values_list("user_id", flat=True)}
    tell(news, project=system.project_id, people=people, but=actor)


def _standing(notice: WitnessNotice, *, actor: User, to: str) -> tuple[System, WitnessNotice]:
    system = lock_system(notice.line.stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to=to)
    notice = _fresh(notice)
    _refuse_withdrawn(notice)
    return system, notice


def _fresh(notice: WitnessNotice) -> WitnessNotice:
    return WitnessNotice.objects.select_related("line__stage", "given_by").get(pk=notice.pk)


def _refuse_withdrawn(notice: WitnessNotice) -> None:
    if notice.withdrawn_at is not None:
        raise Conflict(f"This notice does not stand any more: {notice.withdrawn_reason}")


def _withdraw(notice: WitnessNotice, *, actor: User, reason: str) -> None:
    notice.withdrawn_at, notice.withdrawn_by, notice.withdrawn_reason = timezone.now(), actor, reason
    notice.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])


def _record(
    notice: WitnessNotice,
    system: System,
    actor: User,
    action: str,
    words: str,
    *,
    touches: Collection[str] = frozenset({LINES}),
    **data: object,
) -> None:
    record(
        project=system.project,
        actor=actor,
        action=action,
        touches=touches,
        stages=[notice.line.stage_id],
        on=notice.line,
        system=system.pk,
        words=f"{system.tag}: {words}: {notice.line.title}.",
        data={"notice": notice.pk, **data},
    )
