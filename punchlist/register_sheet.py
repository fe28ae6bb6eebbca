"""The snags' sheet of the register workbook, named in settings (REGISTER_SHEETS): open snags in, open snags out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, Q

from commissioning.models import Project, StageKind
from commissioning.register_import.columns import Column, Kind
from commissioning.register_import.keepers import CHUNK, Work, chunks
from commissioning.register_import.plan import Check, PlannedRow, SheetPlan, View
from commissioning.register_import.recorded import Recorded
from commissioning.register_import.rows import Problem
from commissioning.register_import.sheet import Key, Sheet
from commissioning.rules.stages import STAGE_WORDS
from commissioning.selectors.access import Access
from punchlist.models import Category, ItemState, ItemStep, PunchItem
from punchlist.rules.steps import RAISED
from punchlist.services.common import COMPANY_LIMIT, TEXT_LIMIT
from punchlist.services.many import Changed, Snag, change_many, raise_many

_OWN_NUMBER = re.compile(r"P-\d+", re.IGNORECASE)

SNAGS = Sheet(
    "snags",
    "Snags",
    "snag",
    "Open snags. A snag is found again by its reference, or else by the same text on the same tag. Closed ones are "
    "left alone.",
    (
        Column(
            "reference",
            "reference",
            max_length=60,
            only_new=True,
            help="Your own number for it, or ours (P-12). Empty: it is told apart by its tag and text.",
            example="SN-004",
            also=("ref", "number", "no"),
        ),
        Column("system", "system", required=True, refers_to="systems", max_length=60, help="Tag of its system."),
        Column(
            "stage",
            "stage",
            Kind.CHOICE,
            "Stage whose gate an A item holds. Empty: the system's first one not accepted. Only for new snags.",
            choices=tuple((value, str(label)) for value, label in StageKind.choices),
            only_new=True,
        ),
        Column("equipment", "tag", refers_to="equipment", max_length=60, help="Tag of the equipment, if it is on one."),
        Column(
            "category",
            "category",
            Kind.CHOICE,
            "A: before this stage's gate. B: before handover. C: carried over.",
            required=True,
            choices=tuple((value, value) for value in Category.values),
            example="B",
        ),
        Column(
            "text",
            "text",
            Kind.LONG_TEXT,
            "What is wrong or undone, in a few words.",
            required=True,
            max_length=TEXT_LIMIT,
            example="label missing on battery fuse F2",
        ),
        Column("owes_company", "owes", max_length=COMPANY_LIMIT, help="Company that owes it.", also=("company",)),
        Column("due_on", "due on", Kind.DATE, "Date by which it is due."),
        Column("raised_on", "raised on", Kind.DATE, "Date on which it was seen. Only for new snags.", only_new=True),
    ),
    (("reference",), ("system", "equipment", "text")),
)


def _own_numbers_exist(view: View) -> Iterator[Problem]:
    for row in view.rows.rows:
        reference = row.values.get("reference")
        if reference and _OWN_NUMBER.fullmatch(reference) and view.register.find(SNAGS.name, row.key) is None:
            wrong = f"there is no punch item {reference} in this project"
            yield view.problem(row, "reference", wrong, "correct it, or empty the cell of a new snag")


def _place_agrees(view: View) -> Iterator[Problem]:
    """Equipment and stage belong to the snag's system, and a recorded snag stays in its own."""
    for row in view.rows.rows:
        system, tag, stage = (row.values.get(name) for name in ("system", "equipment", "stage"))
        belongs = view.value("equipment", (tag,), "system") if tag else system
        if belongs not in (None, system):
            wrong = f"'{tag}' belongs to the system '{belongs}'"
            yield view.problem(row, "equipment", wrong, f"write '{belongs}' as the system, or correct the tag")
        found = view.register.find(SNAGS.name, row.key)
        if found and not found.settled and found.values["system"] != system:
            was = found.values["system"]
            yield view.problem(row, "system", f"the snag is recorded on '{was}'", f"write '{was}', or raise a new snag")
        plan = view.stages_of(system) if system else ()
        if stage and found is None and plan and stage not in plan:
            words = ", ".join(STAGE_WORDS[one] for one in plan)
            wrong = f"'{system}' has no stage {STAGE_WORDS[stage]}"
            yield view.problem(row, "stage", wrong, f"its stages are: {words}")


@dataclass(frozen=True)
class SnagKeeper:
    """Reads and writes punch items for the workbook."""

    sheet: Sheet = SNAGS
    checks: Sequence[Check] = (_own_numbers_exist, _place_agrees)

    def recorded(self, *, project: Project, access: Access | None) -> Iterator[Recorded]:
        limit = access.limit("system__site") if access else Q()
        references = _references(project)
        zone = ZoneInfo(project.time_zone)
        # Standing items first: a closed one with the same words must not hide the one that is open.
        items = PunchItem.objects.filter(limit, project=project).order_by(
            F("closed_at").asc(nulls_first=True), "number"
        )
        fields = ("pk", "number", "system__tag", "stage__kind", "equipment__tag", "category", "text", "owes_company")
        for pk, number, *cells, due_on, raised_at, state in items.values_list(
            *fields, "due_on", "raised_at", "state"
        ).iterator(chunk_size=2000):
            names = ("system", "stage", "equipment", "category", "text", "owes_company")
            values = dict(zip(names, cells, strict=True))
            label = f"P-{number}"
            values |= {"reference": references.get(pk, label), "due_on": due_on}
            values["raised_on"] = raised_at.astimezone(zone).date()
            yield _as_recorded(pk, label, values, settled=state == ItemState.CLOSED)

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        for some in chunks(plan.added, CHUNK):
            snags = [_snag(work, planned) for planned in some]
            items = raise_many(project=work.project, actor=work.actor, snags=snags, now=work.at)
            for planned, item in zip(some, items, strict=True):
                planned.pk = item.pk
            work.wrote(len(some))
        for some in chunks(plan.changed, CHUNK):
            changes = [Changed(planned.pk, _fields(work, planned)) for planned in some if planned.pk]
            change_many(actor=work.actor, changes=changes, reason="Register workbook imported.", now=work.at)
            work.wrote(len(some))


def _references(project: Project) -> dict[UUID, str]:
    """The numbers that others gave the snags, kept on the step that raised them."""
    steps = ItemStep.objects.filter(item__project=project, step=RAISED, changes__has_key="reference")
    return {item: changes["reference"] for item, changes in steps.values_list("item_id", "changes").iterator(2000)}


def _as_recorded(pk: UUID, label: str, values: Mapping[str, Any], *, settled: bool) -> Recorded:
    columns = SNAGS.by_name
    known = {name: normal for name, value in values.items() if (normal := columns[name].normal(value)) is not None}
    by_words: Key = tuple(known.get(name) for name in SNAGS.keys[-1])
    keys = dict.fromkeys((("reference", known["reference"]), ("reference", label), by_words))
    return Recorded(pk, tuple(keys), known, settled)


def _snag(work: Work, planned: PlannedRow) -> Snag:
    values = planned.values
    raised_on = values.get("raised_on")
    zone = ZoneInfo(work.project.time_zone)
    raised_at = datetime(raised_on.year, raised_on.month, raised_on.day, 12, tzinfo=zone) if raised_on else work.at
    return Snag(
        system_id=work.ids["systems"][(values["system"],)],
        stage=values.get("stage"),
        equipment_id=work.id_of("equipment", values.get("equipment")),
        category=values["category"],
        text=values["text"],
        owes_company=values.get("owes_company") or "",
        due_on=values.get("due_on"),
        raised_at=min(raised_at, work.at),
        reference=values.get("reference") or "",
    )


def _fields(work: Work, planned: PlannedRow) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for name, (_, new) in planned.changes.items():
        if name == "equipment":
            fields["equipment_id"] = work.id_of("equipment", new)
        else:
            fields[name] = "" if new is None and name == "owes_company" else new
    return fields


SHEET = SnagKeeper()
