"""A client's comment on a dossier: made, then put on the punch list or answered. Each once, each audited."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import Dossier, Equipment, Role, Stage, System, User
from commissioning.rules.gate_parts import NOTHING
from commissioning.selectors.dossiers import systems_of
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, WORKERS, require
from commissioning.services.repeats import already_made, refuse_other_content
from commissioning.services.state_change import state_change
from punchlist.models import DossierComment, PunchItem
from punchlist.rules.steps import RAISED
from punchlist.services.raising import raise_item

#: An item holds the comment and the words that say where it came from.
COMMENT_LIMIT = 2000
SETTLED = "Somebody has settled this comment already. Reload to see what became of it."


@state_change()
def comment_on_dossier(
    *, actor: User, dossier: Dossier, text: str, tag: str = "", id: UUID | None = None
) -> DossierComment:
    """The client says what is to be looked at; a manager or an engineer settles it."""
    _require(actor, dossier, {Role.CLIENT}, to="comment on a dossier; raise a punch item")
    text, tag = _words(text, "text"), tag.strip()[:60]
    if "\x00" in tag:
        raise InvalidInput({"tag": "Type the tag anew."})
    if dossier.built_at is None:
        raise Conflict("It is not built yet, so there is nothing to comment on.")
    if made := already_made(DossierComment, id, dossier_id=dossier.pk, by_id=actor.pk, text=text, tag=tag):
        return made
    comment = DossierComment(
        project_id=dossier.project_id, dossier=dossier, tag=tag, text=text, by=actor, at=timezone.now()
    )
    if id is not None:
        comment.pk = id
    comment.save(force_insert=True)
    _say(comment, actor, "dossier_commented", f"Comment on dossier {dossier.label}: {text[:120]}", {"tag": tag})
    return comment


@state_change()
def put_on_punch_list(
    *,
    actor: User,
    comment: DossierComment,
    system: System,
    stage: Stage,
    category: str,
    equipment: Equipment | None = None,
    id: UUID | None = None,
) -> PunchItem:
    """Raise the comment as a punch item against a system that the dossier covers. Sent twice, it is there once."""
    comment = _locked(comment)
    dossier = comment.dossier
    _require(actor, dossier, WORKERS, to="put a comment on the punch list")
    if comment.settled_at:
        if comment.item is not None and comment.item_id == id and comment.settled_by_id == actor.pk:
            return _same_as_put(comment.item, system=system, equipment=equipment, category=category)
        raise Conflict(SETTLED)
    if not systems_of(project=dossier.project, site=dossier.site, system=dossier.system).filter(pk=system.pk).exists():
        raise InvalidInput({"system": f"{system.tag} is not in this dossier. Choose a system that it covers."})
    item = raise_item(
        actor=actor,
        system=system,
        stage=stage,
        equipment=equipment,
        category=category,
        text=f"{comment.text}\n\nComment of {comment.by} on dossier {dossier.label}.",
        id=id,
    )
    comment.item = item
    _settle(comment, actor, "dossier_comment_raised", f"Comment on dossier {dossier.label} is {item.label}.")
    return item


def _same_as_put(item: PunchItem, *, system: System, equipment: Equipment | None, category: str) -> PunchItem:
    """A second send is compared with what was raised; the item may have been changed in the meantime."""
    raised = item.steps.get(step=RAISED).changes["category"]
    if (raised, item.system_id) != (category, system.pk) or (equipment and item.equipment_id != equipment.pk):
        refuse_other_content()
    return item


@state_change()
def answer_comment(*, actor: User, comment: DossierComment, answer: str) -> DossierComment:
    """A manager says why nothing is left to do."""
    comment = _locked(comment)
    _require(actor, comment.dossier, MANAGERS, to="answer a comment")
    answer = _words(answer, "answer")
    if comment.settled_at:
        if comment.answer == answer and comment.settled_by_id == actor.pk:
            return comment
        raise Conflict(SETTLED)
    comment.answer = answer
    label = comment.dossier.label
    _settle(comment, actor, "dossier_comment_answered", f"Comment on dossier {label} answered: {answer[:120]}")
    return comment


def _require(actor: User, dossier: Dossier, roles: Collection[str], *, to: str) -> None:
    site = dossier.system.site_id if dossier.system else dossier.site_id
    access = require(actor=actor, project=dossier.project_id, roles=roles, site=site, to=to)
    if site is None and access.site_ids is not None:
        raise NotAllowed("This dossier covers sites that you do not see. Ask a manager of the whole project.")


def _locked(comment: DossierComment) -> DossierComment:
    """The comment as it stands now; its project's row is locked first, as in every change."""
    lock_project(comment.project_id)
    rows = DossierComment.objects.select_for_update(of=("self",), no_key=True)
    return rows.select_related("dossier__project", "dossier__system", "dossier__site", "by", "item").get(pk=comment.pk)


def _words(text: str, field: str) -> str:
    text = text.replace("\r\n", "\n").strip()
    if not text:
        raise InvalidInput({field: "Say it in a few words."})
    if "\x00" in text or len(text) > COMMENT_LIMIT:
        raise InvalidInput({field: f"Keep it under {COMMENT_LIMIT} characters of plain text."})
    return text


def _settle(comment: DossierComment, actor: User, action: str, words: str) -> None:
    comment.settled_by, comment.settled_at = actor, timezone.now()
    comment.save(update_fields=["item", "answer", "settled_by", "settled_at"])
    _say(comment, actor, action, words, {"item": str(comment.item_id or ""), "answer": comment.answer})


def _say(comment: DossierComment, actor: User, action: str, words: str, data: dict[str, Any]) -> None:
    record(
        project=comment.project_id,
        actor=actor,
        action=action,
        touches=NOTHING,
        on=comment,
        system=comment.dossier.system_id,
        words=words,
        data={"dossier": comment.dossier.label, "text": comment.text, **data},
    )
