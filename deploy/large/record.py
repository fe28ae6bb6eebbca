"""What was written down about the plant: readings with their verdicts, punch items, alarms."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import calcs
from commissioning.models import AlarmSighting, CheckLine, Reading
from commissioning.services.readings import stored_verdict
from deploy.large.plant import Making, Plan
from deploy.large.writing import write
from punchlist.models import PunchItem

CALCULATION = "ac_supply_tolerance"
#: So many different measurements, each verified once by its calculation.
MEASUREMENTS = 400
#: Of a hundred punch items so many stand.
STANDING = 8
THINGS = (
    "gland plate",
    "cell link",
    "earth strap",
    "label",
    "cable mark",
    "terminal cover",
    "fuse holder",
    "door seal",
)
FAULTS = ("loose", "missing", "damaged", "not as drawn", "not marked", "corroded", "wrong size")
ALARMS = ("Mains failure", "Earth fault", "Battery fuse open", "High temperature", "Charger fault")


@dataclass(frozen=True, slots=True)
class Measured:
    """One measurement with all that its reading keeps."""

    inputs: str
    result: str
    edition: str
    verdict: str
    probability: float | None


def measurements(making: Making) -> tuple[list[Measured], list[Measured]]:
    """Those that are accepted, and those that are not."""
    good: list[Measured] = []
    bad: list[Measured] = []
    for _ in range(MEASUREMENTS):
        typed = f"{making.choose.gauss(231, 9):.1f}"
        result = calcs.run(CALCULATION, {"measured": typed, "nominal": 230}).as_json()
        inputs = [
            {"name": "measured", "label": "measured voltage", "typed": typed, "unit": "V", "source": "measured"}
            | {"value": float(typed), "expanded_uncertainty": None},
            {"name": "nominal", "label": "nominal voltage", "typed": "230", "unit": "V", "source": "value"}
            | {"value": 230.0, "expanded_uncertainty": None},
        ]
        one = Measured(
            inputs=json.dumps(inputs),
            result=json.dumps(result, ensure_ascii=False),
            edition=result["edition"],
            verdict=stored_verdict(result["verdict"]),
            probability=result["conformity_probability"],
        )
        (good if one.verdict.startswith("accept") else bad).append(one)
    return good, bad


def make_readings(making: Making, plans: list[Plan], count: int) -> None:
    """A standing reading on every measured line that is done, and before it those that it superseded."""
    good, bad = measurements(making)
    lines = sum(len(one.measured) for one in plans)
    more = max(count - lines, 0)
    failed: list[Any] = []

    def rows() -> Iterator[tuple[Any, ...]]:
        left, before = more, lines
        for one in plans:
            for line in one.measured:
                earlier = left // before if before else 0
                left, before = left - earlier, before - 1
                wrong = bad and one.accepted < 4 and making.choose.random() < 0.01 and not _signed(one, line)
                if wrong:
                    failed.append(line)
                for place in range(earlier):
                    yield _reading(making, one, line, making.choose.choice(good + bad), place, superseded=True)
                yield _reading(making, one, line, making.choose.choice(bad if wrong else good), earlier, False)

    names: tuple[str, ...] = (
        "id",
        "project_id",
        "system_id",
        "line_id",
        "equipment_id",
        "calculation",
        "edition",
        "inputs",
        "result",
    )
    names += ("verdict", "conformity_probability", "in_calibration", "remark", "by_id", "taken_at", "recorded_at")
    write(Reading, (*names, "superseded_at", "superseded_reason"), rows())
    for start in range(0, len(failed), 500):
        CheckLine.objects.filter(pk__in=failed[start : start + 500]).update(state="failed")


def _signed(one: Plan, line: Any) -> bool:
    """Lines of accepted stages come first: three measured ones a stage."""
    return one.measured.index(line) < 3 * one.accepted


def _reading(making: Making, one: Plan, line: Any, kept: Measured, place: int, superseded: bool) -> tuple[Any, ...]:
    at = one.begun + timedelta(days=12, minutes=place)
    return (
        *(making.keys(), making.project.pk, one.id, line, one.equipment[0], CALCULATION, kept.edition, kept.inputs),
        *(kept.result, kept.verdict, kept.probability, True, "", making.people["engineer"].pk, at, at),
        *((at + timedelta(minutes=1), "measured again") if superseded else (None, "")),
    )


def make_items(making: Making, plans: list[Plan], count: int) -> None:
    """Punch items on every system; those that stand are of a stage that is still to be accepted, or carried over."""

    def rows() -> Iterator[tuple[Any, ...]]:
        for number in range(1, count + 1):
            yield _item(making, plans[number % len(plans)], number)

    names: tuple[str, ...] = (
        "id",
        "project_id",
        "number",
        "system_id",
        "stage_id",
        "equipment_id",
        "category",
        "state",
        "text",
    )
    names += ("raised_by_id", "raised_at", "recorded_at", "owes_company", "due_on", "changed_at")
    names += ("rectified_by_id", "rectified_at", "closed_by_id", "closed_at")
    write(PunchItem, names, rows())
    making.project.punch_count = count
    making.project.save(update_fields=["punch_count"])


def _item(making: Making, one: Plan, number: int) -> tuple[Any, ...]:
    choose, people = making.choose, making.people
    stands = choose.randrange(100) < STANDING
    state = choose.choice(("open", "open", "rectified", "sent_back")) if stands else "closed"
    begun = min(one.accepted, 3)
    place = begun if stands else choose.randrange(begun + 1)
    category = choose.choices("ABC", weights=(1, 3, 4) if stands else (2, 3, 2))[0]
    if stands and one.accepted == 4:
        category = "C"  # all gates passed: what is left was carried over
    raised = one.begun + timedelta(days=choose.uniform(0, 25))
    rectified = raised + timedelta(days=choose.uniform(1, 20)) if state in ("rectified", "closed") else None
    closed = rectified + timedelta(days=choose.uniform(0, 6)) if rectified and state == "closed" else None
    return (
        *(making.keys(), making.project.pk, number, one.id, one.stages[place], choose.choice(one.equipment), category),
        *(state, f"{choose.choice(THINGS).capitalize()} {choose.choice(FAULTS)}", people["client"].pk, raised, raised),
        *("Pellwick Electrical", (raised + timedelta(days=30)).date(), closed or rectified or raised),
        *(people["engineer"].pk if rectified else None, rectified, people["client"].pk if closed else None, closed),
    )


def make_alarms(making: Making, plans: list[Plan]) -> None:
    names: tuple[str, ...] = (
        "id",
        "system_id",
        "stage_id",
        "text",
        "seen_by_id",
        "seen_at",
        "recorded_at",
        "outcome",
        "explanation",
    )
    write(
        AlarmSighting,
        (*names, "decided_by_id", "decided_at", "cleared_remark"),
        (_alarm(making, one) for one in plans if making.choose.random() < 0.6),
    )


def _alarm(making: Making, one: Plan) -> tuple[Any, ...]:
    at, by = one.begun + timedelta(days=15), making.people["engineer"].pk
    place = min(one.accepted, 3)
    open_ = one.accepted < 4 and one.state == "started" and making.choose.random() < 0.1
    said = ("unexplained", "", None, None) if open_ else ("explained", "Seen while it was tested.", by, at)
    return making.keys(), one.id, one.stages[place], making.choose.choice(ALARMS), by, at, at, *said, ""
