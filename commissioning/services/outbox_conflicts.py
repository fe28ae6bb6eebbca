"""What happened elsewhere while a phone had no signal: one rule for each, and one sentence for the person.

Nothing that was recorded is thrown away: what does not stand is kept beside what does, what is refused is kept whole.

The rules, by what happened meanwhile; after the arrow what the person is told:

- Somebody else answered the same line: what was made last stands, whichever arrives last; both answers are kept on the
  line. → who, when, and whose stands.
- The line was reopened: a reopening is an answer too. Made later, it stands and the line stays open. → likewise.
- A punch item was closed: it stays closed, and a photo is added to it. → who closed it, and when.
- A stage was accepted, then a punch item arrives: it is taken; an A item shows there as an exception and stops the next
  stage. → who accepted it, and when.
- A stage was accepted, then a reading or a result arrives: refused, for the gate was signed without it; kept, with
  the verdict that it would have had. A manager withdraws the acceptance and it is mended, or it is dropped. → who
  accepted it, when, and that verdict.
- A tag was renamed: records hold the thing, not its tag; taken. → the old tag and the new one.
- A procedure was edited and the line is there: judged as the line says now. → from which version to which.
- A procedure was edited and the line is not there: refused and kept, for nobody can say which line it answers. → that
  the line was dropped.
- A supply was changed after the isolation was made: refused and kept. → when, and to record how it stands now.
- The system was recorded LIVE since: dead work is refused and kept; a proof of dead counts by when it was made
  (`rules.safety.proof_stands`). → how it is recorded.

`seen` says what the phone knew: `head`, the number of the last audit entry; and of a line its state, when it was last
answered (`changed`) and its procedure's version. A phone that says nothing of it is told of everything.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.dateparse import parse_datetime

from commissioning.errors import Refused, ServiceError
from commissioning.models import (
    Acceptance,
    AuditEntry,
    CheckLine,
    CheckResult,
    Outcome,
    Reading,
    Stage,
    System,
    Verdict,
)
from commissioning.services.line_work import Standing
from commissioning.services.outbox_deeds import Deed

#: Entries of the audit log that may say that a tag was changed.
RENAMING = ("equipment_changed", "system_changed", "supply_changed", "signal_changed")


def when(at: datetime, system: System) -> str:
    """A time as the site's clock shows it."""
    zone = ZoneInfo(system.site.time_zone or system.project.time_zone)
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}"


def on_line(line: CheckLine, before: Standing | None, made: Reading | CheckResult, deed: Deed) -> list[str]:
    """What the person is told of an answer that was taken: whose stands, and what the line says now."""
    seen = _seen_line(deed)
    told = []
    system = line.stage.system
    mine = when(made.taken_at if isinstance(made, Reading) else made.at, system)
    if before is not None and before.by.pk != made.by_id:
        theirs = f"{before.by} {_did(before)} this line at {when(before.at, system)}"
        if made.superseded_at is not None:
            told.append(f"{theirs}, after yours of {mine}: theirs stands, yours is kept on record.")
        elif not _knew(seen, before):
            told.append(f"{theirs} while you had no signal; yours of {mine} was made later and stands, theirs is kept.")
    known = seen.get("procedure_version")
    if known is not None and known != line.procedure_version:
        told.append(
            f"The procedure was edited since this phone took it along ({known} is {line.procedure_version} now): "
            "what you recorded was judged as the line says now. Read the line again."
        )
    return told


def when_refused(deed: Deed, error: ServiceError) -> list[str]:
    """What the person is told besides the refusal, where it comes from something that happened meanwhile."""
    id = _uuid(deed.body.get("line"))
    if id is None:
        return []
    line = CheckLine.objects.select_related("stage__system__project", "stage__system__site").filter(pk=id).first()
    if line is None:
        edited = bool(_seen_line(deed))
        return ["The procedure was edited since this phone took it along, and this line was dropped."] if edited else []
    if isinstance(error, Refused) and any(one.code == "stage_accepted" for one in error.blockers):
        return [accepted_before(line.stage)] if deed.kind != "punch_item" else []
    return []


def accepted_before(stage: Stage) -> str:
    """Who accepted the stage, and what can be done with what arrives after that."""
    found = Acceptance.objects.filter(stage=stage, withdrawn_at__isnull=True).first()
    if found is None:
        return ""
    return (
        f"{stage.get_kind_display().capitalize()} was accepted by {found.signed_name} at "
        f"{when(found.signed_at, stage.system)}, before this arrived. It is kept here as it was recorded: a manager "
        "withdraws the acceptance and it is mended, or it is dropped with the reason."
    )


@dataclass
class Renames:
    """Tags that were changed since the phones of a batch took them along; one query a batch, if any."""

    project: UUID
    heads: Iterable[Any] = ()
    found: dict[str, list[tuple[int, str, str]]] | None = field(default=None, init=False)

    def told(self, deed: Deed, *more: UUID | None) -> list[str]:
        """A sentence for each thing that the deed names and that has another tag now."""
        head = deed.seen.get("head")
        if not isinstance(head, int):
            return []
        ids = [str(one) for one in (*deed.body.values(), deed.system, *more) if isinstance(one, str | UUID)]
        sentences = []
        for id in dict.fromkeys(ids):
            changes = [(old, new) for sequence, old, new in self._changes().get(id, ()) if sequence > head]
            if changes and changes[0][0] != changes[-1][1]:
                sentences.append(
                    f"{changes[0][0]} was renamed {changes[-1][1]} since this phone took it along; what was recorded "
                    "is kept with it under its new tag."
                )
        return sentences

    def _changes(self) -> Mapping[str, list[tuple[int, str, str]]]:
        if self.found is None:
            self.found = defaultdict(list)
            first = min((head for head in self.heads if isinstance(head, int)), default=0)
            rows = AuditEntry.objects.filter(project=self.project, sequence__gt=first, action__in=RENAMING)
            for row in rows.order_by("sequence").only("sequence", "object_id", "data"):
                if change := row.data.get("changes", {}).get("tag"):
                    self.found[row.object_id].append((row.sequence, *change))
        return self.found


def _seen_line(deed: Deed) -> Mapping[str, Any]:
    seen = deed.seen.get("line")
    return seen if isinstance(seen, dict) else {}


def _knew(seen: Mapping[str, Any], before: Standing) -> bool:
    changed = seen.get("changed")
    try:
        at = parse_datetime(changed) if isinstance(changed, str) else None
        return at is not None and at >= before.answer.recorded_at
    except (TypeError, ValueError):
        return False


def _did(before: Standing) -> str:
    if isinstance(before.answer, Reading):
        return f"measured ('{Verdict(before.answer.verdict).label}')"
    if before.answer.outcome == Outcome.REOPENED:
        return "reopened"
    return f"answered ('{Outcome(before.answer.outcome).label}')"


def _uuid(text: Any) -> UUID | None:
    try:
        return UUID(str(text))
    except ValueError:
        return None
