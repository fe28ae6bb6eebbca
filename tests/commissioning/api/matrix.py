"""Every address of the API with one request, and what it answers to whom.

`M E C` are the answers to a manager, a field engineer and the client of the project. A stranger, a member of another
project, gets 404 and somebody who is not signed in 401, unless the row says otherwise. A value `@word` is the key of
that record of the plant; each request is undone before the next one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tests.support.world import PASSWORD


@dataclass(frozen=True)
class Row:
    """One request: URL name, method, the answers, the words of the address and the body."""

    name: str
    method: str
    answers: tuple[int, int, int]
    words: dict[str, str] = field(default_factory=dict)
    body: Any = None
    stranger: int = 404
    nobody: int = 401
    multipart: bool = False
    octets: bool = False
    #: To a manager, a field engineer and the client of the project's other site; None: see `elsewhere_of`.
    elsewhere: tuple[int, int, int] | None = None


def _of(word: str) -> dict[str, str]:
    return {"code": "@code", "id": f"@{word}"}


#: Records that belong to the whole project: whoever is in it finds them, for whichever site.
OF_THE_PROJECT = {"@member", "@instrument", "@range", "@calibration", "@procedure", "@procedure_line", "@run"}


def elsewhere_of(row: Row) -> tuple[int, int, int]:
    """What is at this site is not found by those of another; the rest is as for the same role here."""
    if row.elsewhere is not None:
        return row.elsewhere
    keys = {value for word, value in row.words.items() if word != "code" and value.startswith("@")}
    if "code" in row.words and keys - OF_THE_PROJECT:
        return (404, 404, 404)
    return row.answers


CODE = {"code": "@code"}
ALL = (200, 200, 200)
FILE = {"code": "@code", "sha256": "0" * 64}
WORKERS = (201, 201, 403)
#: A body that names a record of this site is refused there; what concerns the whole project is for its managers.
UNKNOWN, REFUSED = (400, 400, 400), (403, 403, 403)
LATER = "2099-01-01T00:00:00Z"

ROWS = (
    # anybody who is signed in
    Row("api-openapi", "get", ALL, stranger=200, nobody=200),
    Row("api-token", "post", (401, 401, 401), body={"username": "nobody", "password": "no"}, stranger=401),
    Row("api-token-logout", "post", (204, 204, 204), stranger=204),
    Row("api-token-logout-all", "post", (204, 204, 204), stranger=204),
    Row("api-calculations", "get", ALL, stranger=200),
    Row("api-calculation", "get", ALL, {"name": "@calculation"}, stranger=200),
    Row("api-calculation-run", "post", ALL, {"name": "@calculation"}, {"inputs": {"measured": 230, "nominal": 230}},
        stranger=200),
    Row("api-bundled-procedures", "get", ALL, stranger=200),
    Row("api-projects", "get", ALL, stranger=200),
    # the project
    Row("api-project", "get", ALL, CODE),
    Row("api-project", "patch", (200, 403, 403), CODE, {"client_name": "Ombrefell Water Ltd"}, elsewhere=REFUSED),
    Row("api-members", "get", ALL, CODE),
    Row("api-members", "put", (200, 403, 403), CODE, {"who": "@user", "role": "manager"}, elsewhere=REFUSED),
    Row("api-member", "get", ALL, _of("member")),
    Row("api-member", "delete", (204, 403, 403), _of("member"), elsewhere=REFUSED),
    Row("api-audit", "get", (200, 403, 403), CODE),
    Row("api-audit-verify", "post", (200, 403, 403), CODE),
    Row("api-sites", "get", ALL, CODE),
    Row("api-sites", "post", (201, 403, 403), CODE, {"code": "VXO", "name": "Vexley Outfall"}),
    Row("api-site", "get", ALL, _of("site")),
    Row("api-site", "patch", (200, 403, 403), _of("site"), {"notes": "Sign in at the gate"}),
    # the register
    Row("api-register-template", "get", ALL, CODE),
    Row("api-register-workbook", "get", ALL, CODE),
    Row("api-register-plans", "post", (201, 403, 403), CODE, {"file": "@book"}, multipart=True, elsewhere=REFUSED),
    Row("api-register-plan", "get", (200, 404, 404), _of("plan")),
    Row("api-register-apply", "post", (200, 404, 404), _of("plan"), {"digest": "@digest"}),
    Row("api-register-lay-out", "post", (201, 403, 403), CODE, {"systems": ["@system"]}, elsewhere=UNKNOWN),
    Row("api-dependencies", "get", ALL, CODE),
    Row("api-dependencies", "post", (201, 403, 403), CODE, {"stage": "@later_stage", "requires": "@other_stage"},
        elsewhere=UNKNOWN),
    Row("api-dependency", "get", ALL, _of("dependency")),
    Row("api-dependency", "delete", (204, 403, 403), _of("dependency")),
    # systems and stages
    Row("api-take-along", "get", ALL, CODE),
    Row("api-systems", "get", ALL, CODE),
    Row("api-systems", "post", (201, 403, 403), CODE,
        {"site": "@site", "tag": "UPS9", "name": "Control room UPS", "kind": "ups", "nameplate": {"cells": "60"}},
        elsewhere=UNKNOWN),
    Row("api-system", "get", ALL, _of("system")),
    Row("api-system-change", "get", ALL, _of("system")),
    Row("api-system", "patch", (200, 403, 403), _of("system"),
        {"tag": "GUB11", "name": "Switchgear", "site": "@site", "nameplate": {"nominal_voltage": "110 V"}}),
    Row("api-equipment-list", "get", ALL, CODE),
    Row("api-equipment-list", "post", WORKERS, CODE,
        {"system": "@system", "tag": "B9", "kind": "battery", "parent": "@equipment", "nameplate": {"cells": 60}},
        elsewhere=UNKNOWN),
    Row("api-equipment", "get", ALL, _of("equipment")),
    Row("api-equipment", "patch", (200, 200, 403), _of("equipment"),
        {"tag": "B1A", "kind": "battery", "parent": None, "serial_number": "NC-7", "nameplate": {"cells": "60"}}),
    Row("api-equipment-readings", "post", WORKERS, _of("equipment"),
        {"calculation": "@calculation", "typed": {"measured": "231", "nominal": "230"}}),
    Row("api-stage", "get", ALL, _of("stage")),
    Row("api-stage-start", "post", (200, 200, 403), _of("stage")),
    Row("api-stage-accept", "post", (422, 422, 422), _of("stage"), {"password": PASSWORD}),
    Row("api-stage-withdraw", "post", (409, 403, 403), _of("stage"), {"reason": "Cable damaged"}),
    Row("api-stage-plan", "post", (200, 403, 403), _of("stage"), {"planned_for": "2031-05-04"}),
    # lines and readings
    Row("api-lines", "get", ALL, CODE),
    Row("api-line", "get", ALL, _of("line")),
    Row("api-line-results", "post", WORKERS, _of("line"), {"outcome": "not_applicable", "remark": "No such door"}),
    Row("api-line-readings", "post", WORKERS, _of("measured"), {"typed": "@typed"}),
    Row("api-line-try", "post", ALL, _of("measured"), {"typed": "@typed"}),
    Row("api-line-reopen", "post", WORKERS, _of("failed"), {"reason": "Looked again"}),
    Row("api-line-proofs", "post", WORKERS, _of("line"),
        {"point_of_work": "Terminals of Q1", "detector": "VD-7", "proved_before": True, "proved_after": True}),
    Row("api-line-notices", "post", WORKERS, _of("hold"), {"planned_for": LATER}),
    Row("api-line-witnessings", "post", (403, 403, 201), _of("hold"), {}),
    Row("api-line-concessions", "post", (201, 403, 403), _of("failed"), {"reason": "Spare", "password": PASSWORD}),
    Row("api-line-point", "put", (200, 403, 403), _of("line"), {"point": "witness", "party": "client"}),
    Row("api-concession-withdraw", "post", (200, 403, 403), _of("concession"), {"reason": "Part arrived"}),
    Row("api-readings", "get", ALL, CODE),
    Row("api-reading", "get", ALL, _of("reading")),
    # what phones send
    Row("api-outbox", "get", ALL, CODE),
    Row("api-outbox", "post", ALL, CODE, {"sent_at": "2031-05-04T10:00:00Z", "items": ["@sent"]}),
    Row("api-outbox-drop", "post", (200, 200, 404), _of("refused"), {"reason": "Measured anew"}),
    Row("api-outbox-file", "get", ALL, FILE),
    Row("api-outbox-file", "put", (400, 400, 400), FILE, octets=True),
    Row("api-recordings", "get", ALL, CODE),
    Row("api-recordings", "post", (201, 201, 403), CODE, {"system": "@system", "file": "@log"}, multipart=True,
        elsewhere=UNKNOWN),
    Row("api-recording", "get", ALL, _of("recording")),
    Row("api-recording-confirm", "post", (400, 400, 403), _of("recording"), {"columns": {}}),
    Row("api-recording-plot", "get", (409, 409, 409), _of("recording")),
    # instruments
    Row("api-instruments", "get", ALL, CODE),
    Row("api-instruments", "post", WORKERS, CODE, {"serial_number": "IR-1", "description": "Insulation tester"}),
    Row("api-instrument", "get", ALL, _of("instrument")),
    Row("api-instrument", "patch", (200, 200, 403), _of("instrument"), {"maker": "Calder"}),
    Row("api-instrument-retire", "post", (200, 200, 403), _of("instrument"), {"reason": "Dropped"}),
    Row("api-instrument-bring-back", "post", (409, 409, 403), _of("instrument"), {"reason": "Mended"}),
    Row("api-instrument-ranges", "post", WORKERS, _of("instrument"), {"unit": "V", "upper": 1000}),
    Row("api-range", "patch", (200, 200, 403), _of("range"), {"counts": 4}),
    Row("api-instrument-calibrations", "post", WORKERS, _of("instrument"),
        {"calibrated_on": "2031-01-01", "due_on": "2032-01-01"}),
    Row("api-calibration-withdraw", "post", (200, 200, 403), _of("calibration"), {"reason": "Reference was out"}),
    # supplies and permissions
    Row("api-supplies", "get", ALL, CODE),
    Row("api-supplies", "post", WORKERS, CODE, {"system": "@system", "tag": "Q9", "kind": "incomer"},
        elsewhere=UNKNOWN),
    Row("api-supply", "get", ALL, _of("supply")),
    Row("api-supply", "patch", (200, 200, 403), _of("supply"), {"tag": "Q1A", "kind": "incomer"}),
    Row("api-supply-changes", "get", ALL, _of("supply")),
    Row("api-supply-isolate", "post", WORKERS, _of("supply"), {"lock_number": "L9"}),
    Row("api-supply-release", "post", (422, 422, 403), _of("supply"), {"permission": "@permission"}),
    Row("api-permissions", "get", ALL, CODE),
    Row("api-permissions", "post", (400, 403, 403), CODE,
        {"stage": "@later_stage", "supplies": ["@supply"], "valid_until": LATER, "password": PASSWORD},
        elsewhere=UNKNOWN),
    Row("api-permission", "get", ALL, _of("permission")),
    Row("api-permission-withdraw", "post", (200, 200, 403), _of("permission"), {"reason": "Work stopped"}),
    # alarms and signals
    Row("api-alarms", "get", ALL, CODE),
    Row("api-alarms", "post", WORKERS, CODE, {"stage": "@stage", "text": "Earth fault negative"}, elsewhere=UNKNOWN),
    Row("api-alarm", "get", ALL, _of("alarm")),
    Row("api-alarm-decide", "post", (200, 200, 403), _of("alarm"), {"outcome": "explained", "explanation": "Known"}),
    Row("api-alarm-clear", "post", (200, 200, 403), _of("alarm"), {}),
    Row("api-signals", "get", ALL, CODE),
    Row("api-signals", "post", WORKERS, CODE,
        {"system": "@system", "tag": "K9", "description": "Earth fault", "equipment": "@equipment", "order": 3},
        elsewhere=UNKNOWN),
    Row("api-signal", "get", ALL, _of("signal")),
    Row("api-signal", "patch", (200, 200, 403), _of("signal"),
        {"tag": "K1-2", "direction": "input", "stage_kind": "energisation", "equipment": None, "order": 2}),
    Row("api-signal-force", "post", WORKERS, _of("signal"), {}),
    Row("api-signal-see", "post", (200, 400, 200), _of("proof"), {}),
    Row("api-signal-restore", "post", ALL, _of("proof"), {}),
    Row("api-signal-fail", "post", ALL, _of("proof"), {"reason": "Other lamp lit"}),
    # procedures, background work, verification, dossiers
    Row("api-procedures", "get", ALL, CODE),
    Row("api-procedures", "post", (201, 403, 403), CODE, {"key": "ups"}),
    Row("api-procedure", "get", ALL, _of("procedure")),
    Row("api-procedure-lines", "get", ALL, _of("procedure")),
    Row("api-procedure-lines", "post", (201, 403, 403), _of("procedure"),
        {"stage_kind": "mechanical_completion", "after": "@line_key", "title": "Look at the door", "timer_seconds": 15,
         "calculation": "ac_supply_tolerance", "inputs": {
             "measured": {"kind": "measured", "label": "Voltage at the board", "unit": "V"},
             "nominal": {"kind": "nameplate", "key": "ac_nominal_voltage", "of": "system"}}}),
    Row("api-procedure-line", "get", ALL, _of("procedure_line")),
    Row("api-procedure-line", "patch", (200, 403, 403), _of("procedure_line"),
        {"title": "Measure it twice", "point": "none", "party": "client", "repeat": "",
         "limits": [{"output": "required_airflow", "upper": 40, "source": "Specification, revision B"}]}),
    Row("api-procedure-line-place", "post", (200, 403, 403), _of("procedure_line"), {"after": ""}),
    Row("api-procedure-line-remove", "post", (200, 403, 403), _of("procedure_line"), {"reason": "No such part"}),
    Row("api-procedure-compare", "get", ALL, _of("procedure")),
    Row("api-procedure-take-over", "post", (200, 403, 403), _of("procedure"), {"version": 1}),
    Row("api-procedure-apply", "post", (200, 403, 403), _of("procedure"), {"system": "@system"}, elsewhere=UNKNOWN),
    Row("api-jobs", "get", ALL, CODE),
    Row("api-job", "get", (200, 200, 404), _of("job")),
    Row("api-job-cancel", "post", (200, 200, 404), _of("job")),
    Row("api-job-ask-again", "post", (409, 409, 404), _of("job")),
    Row("api-verification-runs", "get", ALL, CODE),
    Row("api-verification-runs", "post", WORKERS, CODE, {"reason": "Nameplate corrected", "system": "@system"},
        elsewhere=UNKNOWN),
    Row("api-verification-run", "get", ALL, _of("run")),
    Row("api-verification-changes", "get", ALL, _of("run")),
    Row("api-verification-decide", "post", (200, 403, 403), _of("change"), {"confirm": False, "remark": "Misread"}),
    Row("api-dossiers", "get", ALL, CODE),
    Row("api-dossiers", "post", (201, 403, 201), CODE, {"scope": "site", "site": "@site"}, elsewhere=UNKNOWN),
    Row("api-dossier", "get", (200, 200, 404), _of("dossier")),
    Row("api-dossier-file", "get", (404, 404, 404), _of("dossier")),
    Row("api-dossier-content", "get", (404, 404, 404), _of("dossier")),
    Row("api-dossier-receive", "post", (404, 404, 404), _of("dossier"), {"password": PASSWORD}),
    Row("api-dossier-comments", "get", (200, 200, 404), _of("dossier")),
    Row("api-dossier-comments", "post", (404, 404, 404), _of("dossier"), {"text": "Page 4 names no torque"}),
    Row("api-dossier-comment-put", "post", (201, 201, 404), _of("comment"), {"category": "B", "system": "@system"}),
    Row("api-dossier-comment-answer", "post", (200, 403, 404), _of("comment"), {"answer": "It stands on page 5"}),
    # the punch list
    Row("api-punch-items", "get", ALL, CODE),
    Row("api-punch-items", "post", (201, 201, 201), CODE,
        {"category": "B", "text": "Label gone", "system": "@system"}, elsewhere=UNKNOWN),
    Row("api-punch-assign", "post", (200, 200, 403), CODE, {"items": ["@item"], "owes_company": "Pellwick"},
        elsewhere=REFUSED),
    Row("api-punch-assign-undo", "post", (403, 403, 403), {"code": "@code", "batch": "@item"}, elsewhere=REFUSED),
    Row("api-punch-item", "get", ALL, _of("item")),
    Row("api-punch-item", "patch", (200, 200, 422), _of("item"), {"text": "Gland plate open at the top"}),
    Row("api-punch-rectify", "post", WORKERS, _of("item"), {}),
    Row("api-punch-close", "post", (422, 403, 422), _of("item"), {}),
    Row("api-punch-send-back", "post", (422, 403, 422), _of("item"), {"reason": "Not tight"}),
    Row("api-punch-reopen", "post", (422, 422, 422), _of("item"), {"reason": "Came loose"}),
    Row("api-punch-photos", "post", (201, 201, 201), _of("item"), {"file": "@picture"}, multipart=True),
    Row("api-punch-photo", "get", ALL, {"code": "@code", "photo": "@photo"}),
)  # fmt: skip
