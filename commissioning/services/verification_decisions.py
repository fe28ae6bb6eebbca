"""What a manager decides about readings that came out otherwise: one at a time, or many with one reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import (
    CheckLine,
    LineState,
    Project,
    Reading,
    StageState,
    System,
    User,
    VerificationChange,
    VerificationRun,
)
from commissioning.models.base import new_id
from commissioning.rules.gate import ACCEPTING
from commissioning.rules.gate_parts import LINES
from commissioning.selectors.verification import changes_of_run
from commissioning.services.audit import Said, record_many
from commissioning.services.locks import lock_project, lock_system
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.state_change import state_change

TO_DO = "decide on a changed reading"
#: Rows written or asked for in one query.
BATCH = 500


@state_change()
def decide_change(*, actor: User, change: VerificationChange, confirm: bool, remark: str = "") -> VerificationChange:
    """A manager takes the new result over, or keeps the old one with a reason."""
    system = lock_system(change.reading.system_id)
    require(actor=actor, project=system.project, roles=MANAGERS, site=system.site_id, to=TO_DO)
    change = _with_their_readings(VerificationChange.objects.filter(pk=change.pk)).get()
    if change.decided_at:
        raise Conflict("Somebody decided on this change already.")
    _need_a_reason(confirm, remark)
    _decide([change], project=system.project, actor=actor, confirm=confirm, remark=remark)
    return change


@state_change()
def decide_changes(
    *,
    actor: User,
    run: VerificationRun,
    changes: Collection[UUID] | None,
    confirm: bool,
    remark: str = "",
    kind: str = "",
    expected: int | None = None,
) -> int:
    """Decide alike on many changes of a run, all or none of them; answers how many.

    `changes` None: all that wait at the sites that the manager has, narrowed by `kind` (see selectors.verification);
    `expected` is how many the manager was shown, so that nobody decides on what they have not seen.
    """
    project = lock_project(run.project_id)
    access = require(actor=actor, project=project, roles=MANAGERS, site=None, to=TO_DO)
    _need_a_reason(confirm, remark)
    wanted = changes_of_run(run, access, kind=kind)
    if changes is not None:
        wanted = wanted.filter(pk__in=set(changes))
    _lock_systems_of(wanted)
    waiting = list(_with_their_readings(wanted.filter(decided_at__isnull=True)))
    if changes is not None and len(waiting) != len(set(changes)):
        raise Conflict("Somebody decided on some of these meanwhile. Look at the list again.")
    if expected is not None and len(waiting) != expected:
        raise Conflict(f"{len(waiting)} wait now, and {expected} were shown. Look at the list again.")
    if not waiting:
        raise Conflict("No change waits for a decision here.")
    _decide(waiting, project=project, actor=actor, confirm=confirm, remark=remark)
    return len(waiting)


def _need_a_reason(confirm: bool, remark: str) -> None:
    if not confirm and not remark.strip():
        raise InvalidInput({"remark": "Say why the old result is kept; the record shows the reason."})


def _lock_systems_of(changes: QuerySet[VerificationChange]) -> None:
    """All systems at once and in one order; with the project locked before, no two of these meet crosswise."""
    systems = System.objects.filter(pk__in=changes.order_by().values("reading__system_id"))
    list(systems.select_for_update(no_key=True).order_by("pk"))


def _with_their_readings(rows: QuerySet[VerificationChange]) -> QuerySet[VerificationChange]:
    return rows.select_related("run", "reading__system", "reading__by", "reading__line__stage")


def _decide(
    changes: Sequence[VerificationChange], *, project: Project, actor: User, confirm: bool, remark: str
) -> None:
    now = timezone.now()
    before = {change.pk: change.reading.verdict for change in changes}
    if confirm:
        _stand_in([change for change in changes if change.reading.superseded_at is None], project=project, now=now)
    for change in changes:
        change.decided_at, change.decided_by, change.confirmed, change.remark = now, actor, confirm, remark
    fields = ["decided_at", "decided_by", "confirmed", "remark", "new_reading"]
    VerificationChange.objects.bulk_update(changes, fields, batch_size=BATCH)
    taken = "taken over" if confirm else "not taken over"
    said = [
        Said(
            on=change.reading,
            system=change.reading.system_id,
            words=f"{change.reading.system.tag}: {taken}: {change}. {remark}".strip(),
            data={"run": change.run_id, "before": before[change.pk], "after": change.verdict},
        )
        for change in changes
    ]
    record_many(
        project=project,
        actor=actor,
        action="verification_decided",
        said=said,
        touches={LINES},
        stages={change.reading.line.stage_id for change in changes if change.reading.line},
    )


def _stand_in(changes: Sequence[VerificationChange], *, project: Project, now: datetime) -> None:
    """For each a reading with the same inputs and the new result, in the place of the old one."""
    measured_with = _instruments_of([change.reading_id for change in changes])
    for change in changes:
        old = change.reading
        change.new_reading = old.superseded_by = _copy_with_result(change)
        old.superseded_at, old.superseded_reason = now, f"verified again: {change.run.reason}"
    olds = [change.reading for change in changes]
    news = [change.new_reading for change in changes if change.new_reading]
    # One reading stands on a line at a time: the old ones step back before the new ones are there to be named.
    Reading.objects.bulk_update(olds, ["superseded_at", "superseded_reason"], batch_size=BATCH)
    Reading.objects.bulk_create(news, batch_size=BATCH)
    Reading.objects.bulk_update(olds, ["superseded_by"], batch_size=BATCH)
    through = Reading.instruments.through
    through.objects.bulk_create(
        (
            through(reading_id=new.pk, instrument_id=instrument)
            for old, new in zip(olds, news, strict=True)
            for instrument in measured_with[old.pk]
        ),
        batch_size=BATCH,
    )
    _move_lines(changes, accepting=ACCEPTING[project.decision_rule])


def _instruments_of(readings: Sequence[UUID]) -> dict[UUID, list[UUID]]:
    found: dict[UUID, list[UUID]] = defaultdict(list)
    through = Reading.instruments.through.objects
    for start in range(0, len(readings), BATCH):
        rows = through.filter(reading_id__in=readings[start : start + BATCH])
        for reading, instrument in rows.values_list("reading_id", "instrument_id"):
            found[reading].append(instrument)
    return found


def _copy_with_result(change: VerificationChange) -> Reading:
    old = change.reading
    kept = ("project_id", "system_id", "line_id", "equipment_id", "calculation", "by_id", "taken_at", "remark")
    return Reading(
        id=new_id(),
        in_calibration=old.in_calibration,
        inputs=change.inputs,
        result=change.result,
        verdict=change.verdict,
        edition=change.result.get("edition", old.edition),
        conformity_probability=change.result.get("conformity_probability"),
        **{name: getattr(old, name) for name in kept},
    )


def _move_lines(changes: Iterable[VerificationChange], *, accepting: Collection[str]) -> None:
    """Lines of stages that are not accepted stand as the new results say."""
    moved: list[CheckLine] = []
    for change in changes:
        old = change.reading
        if old.line is None or old.line.stage.state == StageState.ACCEPTED:
            continue
        old.line.state = LineState.PASSED if change.verdict in accepting else LineState.FAILED
        old.line.done_at, old.line.done_by = old.taken_at, old.by
        moved.append(old.line)
    CheckLine.objects.bulk_update(moved, ["state", "done_at", "done_by"], batch_size=BATCH)
