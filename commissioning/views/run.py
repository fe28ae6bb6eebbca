"""What do I do now? The lines of the stage in hand, and one line at a time."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django import forms
from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils import timezone

from commissioning.errors import Refused
from commissioning.forms.reading import AnswerForm, NoticeForm, ProofForm, ReadingForm, WitnessForm
from commissioning.models import CheckLine, Point, Role
from commissioning.rules.gate import Blocker
from commissioning.rules.safety import BATTERY_WORDS
from commissioning.rules.stages import DEAD_STAGES, STAGE_WORDS
from commissioning.selectors.access import Access
from commissioning.selectors.asking import Wanted, wanted_by
from commissioning.selectors.changes import change_number, change_number_at
from commissioning.selectors.procedure_run import (
    LinePlace,
    LineRecord,
    holds_work,
    is_done,
    line_or_404,
    next_open,
    place_of,
    record_of,
    run_rows,
)
from commissioning.selectors.system import StageStanding, SystemStanding, system_or_404, system_standing
from commissioning.services.lines import refuse_unless_workable
from commissioning.views.asking import ambient_asked, meters_for, meters_of, remembered
from commissioning.views.base import ProjectRequest, page, project_view, use_site_zone
from commissioning.views.links import TURN_WORDS, page_url
from commissioning.views.standing import may_work, rows, strip
from commissioning.views.workings import reading_shown

#: Blockers that are put right on the line itself, by proving dead.
PROOF = "proof_of_dead_missing"
#: Put right at the supply points.
ON_LIVE = "dead_work_on_live"


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The check lines of the stage in hand, or of the one asked for; the next open line first."""
    access, code = request.access, request.access.project.code
    change = change_number(id)  # before anything is read: what happens meanwhile is news to the page
    system = system_or_404(access=access, id=id)
    use_site_zone(system.site)
    standing = system_standing(system)
    row = _wanted_stage(standing, request.GET.get("stage", ""))
    lines = run_rows(row.stage, row.facts) if row else []
    upcoming = next_open(row.facts) if row else None
    context = {
        "row": row,
        "strip": [{**step, "url": f"?stage={stage.stage.pk}"} for step, stage in zip(
            strip(standing, code=code), standing.stages, strict=True)],
        "stage_url": reverse("stage", args=[code, row.stage.pk]) if row else "",
        "lines": [
            {
                "row": line,
                "url": reverse("run-line", args=[code, line.line.pk]),
                "waits": holds_work(line.fact) and line.fact.state != "open",
                "party": TURN_WORDS.get(line.fact.party or Role.CLIENT, ""),
            }
            for line in lines
        ],
        "next": next((line for line in lines if upcoming and line.fact.id == upcoming.id), None),
        "next_url": reverse("run-line", args=[code, upcoming.id]) if upcoming else "",
        "may_work": may_work(access),
        "dead_stage": bool(row and row.stage.kind in DEAD_STAGES),
        "looks_on": _looks_on(request, system.pk, change, request.get_full_path()),
    }  # fmt: skip
    return page(request, "commissioning/run/show.html", context, section="portfolio", system=system)


def _looks_on(request: ProjectRequest, system_id: UUID, change: int, page_url: str) -> dict[str, Any]:
    """Where the page asks whether anything happened since, and where it stands then."""
    code = request.access.project.code
    return {"url": reverse("api-system-change", args=[code, system_id]), "change": change, "page": page_url}


def _wanted_stage(standing: SystemStanding, wanted: str) -> StageStanding | None:
    """The stage asked for by its id or its kind; else the one in hand, else the last."""
    if not wanted:
        return standing.in_hand or (standing.stages[-1] if standing.stages else None)
    found = next((row for row in standing.stages if wanted in (str(row.stage.pk), row.stage.kind)), None)
    if found is None:
        raise Http404("This system has no such stage.")
    return found


@dataclass
class Typed:
    """Forms that came back with something to say, by what they record."""

    reading: forms.Form | None = None
    answer: forms.Form | None = None
    proof: forms.Form | None = None
    notice: forms.Form | None = None
    witness: forms.Form | None = None
    blockers: tuple[Blocker, ...] = field(default=())

    @property
    def any(self) -> bool:
        return any((self.reading, self.answer, self.proof, self.notice, self.witness))


@project_view
def line(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One line: its caution, what to do, one answer to give; or what was answered."""
    change = change_number_at(id)
    return line_page(request, get_line(request, id), Typed(), change=change)


def get_line(request: ProjectRequest, id: UUID) -> CheckLine:
    """The line, with times in the zone of its site."""
    found = line_or_404(access=request.access, id=id)
    use_site_zone(found.stage.system.site)
    return found


def line_page(
    request: ProjectRequest, line: CheckLine, typed: Typed, *, status: int = 200, change: int | None = None
) -> HttpResponse:
    """The page of a line; `typed` carries a form that was refused, with what was typed in it."""
    access, system = request.access, line.stage.system
    change = change_number_at(line.pk) if change is None else change
    place, record = place_of(line), record_of(line)
    wanted = wanted_by(line, previous=record.last_typed)
    blockers = blockers_of(line, place, dead_matters=True)
    context = {
        "line": line,
        "place": place,
        "record": record,
        "wanted": wanted,
        "known_missing": [one for one in wanted.asked if not one.measured],
        "work_words": work_words(line),
        "battery_words": BATTERY_WORDS if _is_about_a_battery(line) else "",
        "kept": "kept" in request.GET,
        **_ways(line, place, access),
        **_answering(request, line, place, typed, wanted, blockers),
        **_standing(line, place, record, access),
        **_point(line, record, access, typed),
        "undo": "kept" in request.GET and line.done_by_id == access.user.pk,
        "looks_on": _looks_on(request, system.pk, change, reverse("run-line", args=[access.project.code, line.pk])),
    }
    return page(request, "commissioning/run/line.html", context, section="portfolio", system=system, status=status)


def blockers_of(line: CheckLine, place: LinePlace, *, dead_matters: bool) -> tuple[Blocker, ...]:
    """Why the line cannot be recorded now, as the service will say it."""
    try:
        refuse_unless_workable(line=line, facts=place.facts, dead_matters=dead_matters)
    except Refused as refusal:
        return refusal.blockers
    return ()


def _is_about_a_battery(line: CheckLine) -> bool:
    return line.stage.kind == "battery_connected" or bool(line.equipment and line.equipment.kind == "battery")


def work_words(line: CheckLine) -> str:
    """What kind of work the line is."""
    words = {"dead": "dead work", "live": "LIVE work", "either": "dead or live"}[line.work]
    return f"{words}, injects a test voltage" if line.injects_voltage else words


def _ways(line: CheckLine, place: LinePlace, access: Access) -> dict[str, Any]:
    """Where one can go from the line."""
    code = access.project.code

    def to(fact: Any) -> str:
        return reverse("run-line", args=[code, fact.id]) if fact else ""

    list_url = reverse("run", args=[code, line.stage.system_id]) + f"?stage={line.stage_id}"
    here = reverse("run-line", args=[code, line.pk])
    return {
        "stage_words": STAGE_WORDS[line.stage.kind],
        "list_url": list_url,
        "before_url": to(place.before),
        "after_url": to(place.after),
        "next_open": place.next_open,
        "next_open_url": to(place.next_open),
        "stage_url": reverse("stage", args=[code, line.stage_id]),
        "record_url": reverse("line-record", args=[code, line.pk]),
        "punch_url": page_url("punch-new", code, line=line.pk, next=here),
        "recording_url": page_url("recording-new", code, line=line.pk),
    }


def _answering(
    request: ProjectRequest,
    line: CheckLine,
    place: LinePlace,
    typed: Typed,
    wanted: Wanted,
    blockers: tuple[Blocker, ...],
) -> dict[str, Any]:
    """What can be answered now, and what stands in the way."""
    access = request.access
    may_answer = may_work(access) and line.retired_at is None
    again = "again" in request.GET and line.state == "failed"
    is_open = line.state == "open" or typed.any or again
    refused = typed.blockers or (blockers if is_open else ())
    needs_proof = any(blocker.code == PROOF for blocker in blockers)
    others = [blocker for blocker in refused if blocker.code != PROOF]
    listed = with_ways_out(others, line, access)
    by_reading = bool(line.calculation) and not wanted.recording
    return {
        "blockers": listed,
        "way_out": next((row for row in listed if row["url"]), None),
        "may_answer": may_answer and is_open,
        "by_reading": by_reading,
        "may_repeat": may_answer and line.state == "failed" and not is_open and not blockers,
        "workable": not blockers,
        "needs_proof": may_answer and is_open and needs_proof and not others,
        "may_pass": not line.calculation or not line.required,
        # That a line does not apply may be said on a LIVE system too; it is no work on it.
        "may_set_aside": may_answer and is_open and not blockers_of(line, place, dead_matters=False),
        "reading_form": (typed.reading or reading_form(request, line, wanted)) if by_reading else None,
        "answer_form": typed.answer or AnswerForm(asked=() if line.calculation else wanted.asked),
        "proof_form": typed.proof or ProofForm(auto_id="proof_%s"),
        "bound": {"reading": bool(typed.reading), "answer": bool(typed.answer), "proof": bool(typed.proof)},
    }


def with_ways_out(blockers: list[Blocker], line: CheckLine, access: Access) -> list[dict[str, object]]:
    """Blockers with where they are put right; a line that waits for isolation leads to the supply points."""
    listed = rows(blockers, access)
    for blocker, row in zip(blockers, listed, strict=True):
        if blocker.code == ON_LIVE:
            row["url"] = reverse("supplies", args=[access.project.code, line.stage.system_id])
    return listed


def reading_form(request: ProjectRequest, line: CheckLine, wanted: Wanted, data: Any = None) -> ReadingForm:
    """The form of a reading, with the instruments that can show its units."""
    in_use = meters_of(request.access.project) if wanted.units else []
    meters = {unit: meters_for(in_use, unit) for unit in wanted.units}
    return ReadingForm(
        data,
        asked=wanted.asked,
        meters=meters,
        remembered=remembered(request),
        ambient=ambient_asked(meters),
    )


def _standing(line: CheckLine, place: LinePlace, record: LineRecord, access: Access) -> dict[str, Any]:
    """What was answered, and what can still be done about it."""
    fact = place.fact
    failed = line.state == "failed"
    accepted_stage = place.facts.state == "accepted"
    recorded_by = {line.done_by_id, record.reading.by_id if record.reading else None}
    return {
        "done": bool(fact and is_done(fact)),
        "failed": failed,
        "result": record.result if record.result and record.result.outcome != "reopened" else None,
        "shown": reading_shown(record.reading, access.project) if record.reading else None,
        "concession": record.concession,
        "changed": bool(record.changes),
        "may_concede": failed and not record.concession and access.is_manager and not accepted_stage,
        "own_work": access.user.pk in recorded_by,
        "may_reopen": may_work(access) and line.state != "open" and not line.retired_at and not accepted_stage,
        "history": len(record.results) + len(record.readings) + len(record.proofs) > 0,
    }


def _point(line: CheckLine, record: LineRecord, access: Access, typed: Typed) -> dict[str, Any]:
    """A hold, witness or review point: whose turn it is, and what this person can do about it."""
    if line.point == Point.NONE:
        return {"point": None}
    party = line.party or Role.CLIENT
    own = access.user.pk in {*(row.by_id for row in record.results), *(row.by_id for row in record.readings)}
    witnessed = [row for row in record.witnessings if row.role == party]
    may_witness = access.role == party and not own and not any(row.by_id == access.user.pk for row in witnessed)
    return {
        "point": line.point,
        "point_words": line.get_point_display(),
        "party_words": TURN_WORDS.get(party, party),
        "witnessed": witnessed,
        "may_witness": may_witness,
        "thumb_witness": may_witness and not (may_work(access) and line.state == "open"),
        "witness_own": access.role == party and own,
        "may_notice": may_work(access) and line.point in (Point.HOLD, Point.WITNESS) and not witnessed,
        "notice_due": [row for row in record.notices if row.planned_for > timezone.now() and not row.withdrawn_at],
        "witness_form": typed.witness or WitnessForm(auto_id="witness_%s"),
        "notice_form": typed.notice or NoticeForm(auto_id="notice_%s"),
        "notice_bound": bool(typed.notice),
    }
