"""What the system page and the stage page say alike: blockers by rule, the strip, what can be done next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from commissioning.models import Stage
from commissioning.rules.gate import Blocker, Signer, signer_blockers
from commissioning.rules.stages import DEAD_STAGES
from commissioning.selectors.access import Access
from commissioning.selectors.holds import by_rule
from commissioning.selectors.system import StageStanding, SystemStanding
from commissioning.views.links import blocker_row, page_url

#: So many of one rule are listed at once; the others open on demand.
LISTED = 6


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that can be done from a page: a link, or a button that posts."""

    words: str
    url: str
    posts: bool = False
    main: bool = False
    key: str = ""


def rows(blockers: Iterable[Blocker], access: Access) -> list[dict[str, object]]:
    """Blockers for components/blockers.html."""
    code, role, authorised = access.project.code, access.role, access.authorised_person
    return [blocker_row(blocker, code=code, role=role, authorised_person=authorised) for blocker in blockers]


def groups(blockers: Iterable[Blocker], access: Access) -> list[dict[str, Any]]:
    """Blockers under their rule, the long lists folded, for templates/commissioning/system/holds.html."""
    found = []
    for group in by_rule(blockers):
        listed = rows(group.blockers, access)
        found.append(
            {
                "title": group.title,
                "count": len(listed),
                "first": listed[:LISTED],
                "rest": listed[LISTED:],
                "mine": sum(bool(row["mine"]) for row in listed),
            }
        )
    return found


def strip(standing: SystemStanding, *, code: str) -> list[dict[str, Any]]:
    """The stages for components/stage_strip.html."""
    in_hand = standing.in_hand
    return [_step(row, code=code, current=row is in_hand) for row in standing.stages]


def _step(row: StageStanding, *, code: str, current: bool) -> dict[str, Any]:
    withdrawn = row.withdrawn and row.facts.state != "accepted"
    notes = [_note(row)]
    if row.exceptions:
        notes.append(f"{len(row.exceptions)} exception{'s' if len(row.exceptions) > 1 else ''}")
    return {
        "name": row.stage.get_kind_display(),
        "state": "withdrawn" if withdrawn else row.facts.state,
        "url": reverse("stage", args=[code, row.stage.pk]),
        "current": current,
        "holds": len(row.holds) if current else 0,
        "note": "; ".join(note for note in notes if note),
    }


def _note(row: StageStanding) -> str:
    if row.acceptance:
        return f"{row.acceptance.signed_at:%Y-%m-%d}, {row.acceptance.signed_name}"
    if row.facts.state == "started" and row.total:
        return f"{row.done} of {row.total} lines done"
    return f"planned {row.stage.planned_for:%Y-%m-%d}" if row.stage.planned_for else ""


def may_work(access: Access) -> bool:
    """Managers and field engineers do and record work."""
    return access.is_manager or access.is_engineer


def may_sign(row: StageStanding, access: Access) -> bool:
    """Rule 11 as the gate will ask it of this person."""
    return not signer_blockers(row.facts, Signer(user_id=str(access.user.pk), role=access.role))


def stage_deeds(row: StageStanding, access: Access) -> list[Deed]:
    """What this person can do with the stage now; the services decide again when it is done."""
    code, stage = access.project.code, row.stage
    found: list[Deed] = []
    if row.facts.state == "not_started" and may_work(access) and not row.entry:
        words = f"start {stage.get_kind_display()}"
        found.append(Deed(words, reverse("stage-start", args=[code, stage.pk]), posts=True, main=True, key="s"))
    if row.facts.state == "started":
        ready = not row.blockers
        if row.total:
            words = "continue the procedure" if may_work(access) else "look through the procedure"
            found.append(Deed(words, page_url("run", code, stage.system_id, stage=stage.pk), main=not ready, key="r"))
        if ready and may_sign(row, access):
            found.append(Deed("accept the gate", reverse("stage-accept", args=[code, stage.pk]), main=True, key="a"))
        if access.authorised_person and stage.kind not in DEAD_STAGES:
            found.append(Deed("sign a permission to energise", reverse("permission-new", args=[code, stage.pk])))
    return [deed for deed in found if deed.url]


def record_deeds(stage: Stage | None, access: Access, *, system_id: Any) -> list[Deed]:
    """What can be put on record about the system, whatever its stage."""
    code = access.project.code
    at = {"system": system_id, **({"stage": stage.pk} if stage else {})}
    deeds = [Deed("raise a punch item", page_url("punch-new", code, **at), key="p")]
    if may_work(access):
        deeds.append(Deed("log an alarm", page_url("alarm-new", code, **at)))
    deeds.append(Deed("ask for a dossier", page_url("dossier-new", code, system=system_id)))
    return [deed for deed in deeds if deed.url]
