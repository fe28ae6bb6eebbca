"""The procedure run: where a line stands in its stage, and all that is on record about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404

from commissioning.models import (
    CheckLine,
    CheckResult,
    Concession,
    ProofOfDead,
    Reading,
    Stage,
    VerificationChange,
    Witnessing,
    WitnessNotice,
)
from commissioning.rules.gate import LineFact, StageFacts
from commissioning.selectors.access import Access
from commissioning.selectors.facts import load_facts

DONE = ("passed", "not_applicable")


def is_done(fact: LineFact) -> bool:
    """Nothing is left to do on the line itself; its witness may still be missing."""
    return fact.state in DONE or fact.conceded


def holds_work(fact: LineFact) -> bool:
    """A hold point that was reached and waits for the party that it names."""
    return fact.point == "hold" and not fact.witnessed and fact.state != "not_applicable"


def line_or_404(*, access: Access, id: UUID) -> CheckLine:
    """The line, if the person may see it."""
    rows = CheckLine.objects.filter(access.limit("stage__system__site"), stage__system__project=access.project)
    found = rows.select_related("stage__system__site__project", "stage__system__project", "equipment", "done_by")
    line = found.filter(pk=id).first()
    if line is None:
        raise Http404("There is no such check line here, or it is not yours to see.")
    return line


@dataclass(frozen=True, slots=True)
class LinePlace:
    """Where a line stands in its stage: its number, and what comes before and after."""

    facts: StageFacts
    index: int | None  # None: the line was dropped from the procedure

    @property
    def fact(self) -> LineFact | None:
        return None if self.index is None else self.facts.lines[self.index]

    @property
    def number(self) -> int:
        return 0 if self.index is None else self.index + 1

    @property
    def total(self) -> int:
        return len(self.facts.lines)

    @property
    def done(self) -> int:
        return sum(map(is_done, self.facts.lines))

    @property
    def before(self) -> LineFact | None:
        return self.facts.lines[self.index - 1] if self.index else None

    @property
    def after(self) -> LineFact | None:
        return self.facts.lines[self.number] if self.index is not None and self.number < self.total else None

    @property
    def next_open(self) -> LineFact | None:
        """The next line to be done: after this one, else the first that was left behind."""
        return next_open(self.facts, after=self.index)


def next_open(facts: StageFacts, *, after: int | None = None) -> LineFact | None:
    """The first line that is not done, beginning behind the line at `after`."""
    start = 0 if after is None else after + 1
    others = [*facts.lines[start:], *facts.lines[:start]]
    here = None if after is None else facts.lines[after].id
    return next((fact for fact in others if not is_done(fact) and fact.id != here), None)


def place_of(line: CheckLine) -> LinePlace:
    """The line among the lines of its stage."""
    facts = load_facts(system_ids=[line.stage.system_id])[line.stage_id]
    index = next((place for place, fact in enumerate(facts.lines) if fact.id == str(line.pk)), None)
    return LinePlace(facts, index)


@dataclass(frozen=True, slots=True)
class RunRow:
    """A line in the list of a stage."""

    line: CheckLine
    fact: LineFact
    number: int


def run_rows(stage: Stage, facts: StageFacts) -> list[RunRow]:
    """The lines of a stage in order, with how each stands; one query besides the facts."""
    lines = CheckLine.objects.filter(stage=stage, retired_at__isnull=True).select_related("equipment", "done_by")
    rows = {str(line.pk): line for line in lines.defer("how", "accept", "caution", "inputs", "limits")}
    return [RunRow(rows[fact.id], fact, number) for number, fact in enumerate(facts.lines, start=1) if fact.id in rows]


@dataclass(frozen=True, slots=True)
class LineRecord:
    """Everything recorded on a line, newest first; what stands is the part that was not superseded."""

    results: Sequence[CheckResult]
    readings: Sequence[Reading]
    proofs: Sequence[ProofOfDead]
    notices: Sequence[WitnessNotice]
    witnessings: Sequence[Witnessing]
    concessions: Sequence[Concession]
    changes: Sequence[VerificationChange]

    @property
    def result(self) -> CheckResult | None:
        """The result that stands."""
        return next((row for row in self.results if row.superseded_at is None), None)

    @property
    def reading(self) -> Reading | None:
        """The reading that stands."""
        return next((row for row in self.readings if row.superseded_at is None), None)

    @property
    def concession(self) -> Concession | None:
        """The concession that speaks of what stands now."""
        standing = self.reading.pk if self.reading else None
        return next((row for row in self.concessions if row.withdrawn_at is None and row.reading_id == standing), None)

    @property
    def last_typed(self) -> dict[str, str]:
        """What was typed last, by input, superseded or not."""
        if self.readings:
            return {entry["name"]: str(entry["typed"]) for entry in self.readings[0].inputs}
        valued = next((row for row in self.results if row.values), None)
        return {entry["name"]: str(entry["typed"]) for entry in valued.values} if valued else {}


def record_of(line: CheckLine) -> LineRecord:
    """What is on record about the line, in a fixed number of queries."""

    def rows(model: Any, *related: str) -> Any:
        return model._default_manager.filter(line=line).select_related(*related)

    concessions = rows(Concession, "signed_by", "reading").defer("signed_content", "reading__result")
    changes = VerificationChange.objects.filter(reading__line=line, decided_at__isnull=True).select_related("run")
    return LineRecord(
        results=list(rows(CheckResult, "by").order_by("-recorded_at", "-id")),
        readings=list(
            rows(Reading, "by", "superseded_by").prefetch_related("instruments").order_by("-recorded_at", "-id")
        ),
        proofs=list(rows(ProofOfDead, "by").order_by("-recorded_at")),
        notices=list(
            rows(WitnessNotice, "given_by").prefetch_related("answers__by").order_by("-given_at", "-sequence")
        ),
        witnessings=list(rows(Witnessing, "by").order_by("-recorded_at")),
        concessions=list(concessions.order_by("-signed_at")),
        changes=list(changes.order_by("-run__asked_at")),
    )
