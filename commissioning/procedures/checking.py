"""Plain dictionaries into frozen data, strictly: every field that is wrong is named, all of them at once."""

import math
import re
from collections.abc import Callable
from datetime import date
from typing import Any

from .nameplate import NAMEPLATE_KEYS
from .reading import Problem, Raw, RawProcedure, order_of
from .structures import InputSource, LimitData, LineData, ProcedureData
from .terms import (
    ACTIONS,
    EQUIPMENT_KINDS,
    INPUT_KINDS,
    PARTIES,
    POINTS,
    REPEATS,
    STAGE_PREFIXES,
    STAGES,
    SYSTEM_KINDS,
    UNITS,
    WORK,
)

TITLE_LENGTH = 80
KEY = re.compile(rf"({'|'.join(STAGE_PREFIXES.values())})-\d{{3}}")
NAME = re.compile(r"[a-z][a-z0-9_]*")
Report = Callable[[str, str], None]


def _text(value: Any) -> str | None:
    return None if isinstance(value, str) else "must be text"


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else "must be true or false"


def _whole(value: Any) -> str | None:
    good = isinstance(value, int) and not isinstance(value, bool) and value > 0
    return None if good else "must be a whole number above 0"


def _number(value: Any) -> str | None:
    good = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    return None if good else "must be a number"


def _number_or_text(value: Any) -> str | None:
    return None if _number(value) is None or (isinstance(value, str) and value) else "must be a number or a word"


def _date(value: Any) -> str | None:
    return None if type(value) is date else "must be a date (2026-11-25)"


def _texts(value: Any) -> str | None:
    good = isinstance(value, list) and all(isinstance(item, str) and item.strip() for item in value)
    return None if good else "must be a list of texts"


def _one_of(words: tuple[str, ...]) -> Callable[[Any], str | None]:
    return lambda value: None if value in words else f"must be one of {', '.join(words)}"


def _like(pattern: re.Pattern[str], words: str) -> Callable[[Any], str | None]:
    return lambda value: None if isinstance(value, str) and pattern.fullmatch(value) else words


def _stages(value: Any) -> str | None:
    good = isinstance(value, list) and value and value == [stage for stage in STAGES if stage in value]
    return None if good else f"must be some of {', '.join(STAGES)}, in that order"


HEAD = {
    "key": _one_of(SYSTEM_KINDS),
    "title": _text,
    "version": _whole,
    "issued": _date,
    "system_kind": _one_of(SYSTEM_KINDS),
    "stages": _stages,
    "cautions": _texts,
    "sources": _texts,
    "changes": _text,
}
LINE = {
    "key": _like(KEY, "must be the stage's two letters and three digits, such as en-040"),
    "order": _whole,
    "stage": _one_of(STAGES),
    "title": _text,
    "how": _text,
    "accept": _text,
    "action": _one_of(ACTIONS),
    "work": _one_of(WORK),
    "injects_voltage": _flag,
    "caution": _text,
    "point": _one_of(POINTS),
    "party": _one_of(("", *PARTIES)),
    "required": _flag,
    "equipment": _one_of(("", *EQUIPMENT_KINDS)),
    "repeat": _one_of(("", *REPEATS)),
    "timer_seconds": _whole,
    "calculation": _like(re.compile(r"|[a-z][a-z0-9_]*"), "must be a name of the calculation catalogue"),
    "inputs": lambda value: None if isinstance(value, dict) else "must be written [line.inputs.NAME]",
    "limits": lambda value: None if isinstance(value, list) else "must be written [[line.limits]]",
}
INPUT = {
    "kind": _one_of(INPUT_KINDS),
    "label": _text,
    "unit": _one_of(UNITS),
    "key": _one_of(tuple(NAMEPLATE_KEYS)),
    "of": _one_of(("system", *EQUIPMENT_KINDS)),
    "value": _number_or_text,
    "many": _flag,
    "optional": _flag,
    "source": _text,
}
LIMIT = {"output": _like(NAME, "must be the name of an output"), "source": _text, "lower": _number, "upper": _number}
NEEDED_OF_KIND = {"measured": ("label",), "nameplate": ("key", "of"), "value": ("value",), "recording": ("label",)}
ALLOWED_OF_KIND = {
    "measured": {"label", "unit", "many", "optional"},
    "nameplate": {"key", "of", "optional"},
    "value": {"label", "unit", "value", "source"},
    "recording": {"label"},
}


def checked(raw: RawProcedure) -> tuple[ProcedureData | None, list[Problem]]:
    """The procedure and no problem, or no procedure and every problem."""
    problems = list(raw.problems)

    def report(name: str, words: str) -> None:
        problems.append(Problem(raw.file, "", name, words))

    _fields(
        report, "", raw.head, HEAD, needed=("key", "title", "version", "issued", "system_kind", "stages", "sources")
    )
    _head_agrees(report, raw)
    ordered = raw.in_order()
    for line in ordered:
        problems += _line_problems(raw, line)
    problems += _clashes(raw, ordered)
    if problems:
        return None, problems
    return _built(raw.head, ordered), []


def _fields(
    report: Report, prefix: str, values: Raw, known: dict[str, Callable[[Any], str | None]], needed: tuple[str, ...]
) -> None:
    for name in needed:
        if values.get(name) in (None, "", []):
            report(prefix + name, "is missing")
    for name, value in values.items():
        words = known[name](value) if name in known else f"unknown; known are {', '.join(known)}"
        if words:
            report(prefix + name, words)


def _head_agrees(report: Report, raw: RawProcedure) -> None:
    expected = f"{raw.head.get('key')}@{raw.head.get('version')}.toml"
    if raw.file != expected:
        report("version", f"the file of this key and version is called {expected}")
    version = raw.head.get("version")
    if isinstance(version, int) and version > 1 and not raw.head.get("changes"):
        report("changes", "a later version says what it changes and why")
    if not raw.lines:
        report("line", "a procedure has lines")


def _line_problems(raw: RawProcedure, line: Raw) -> list[Problem]:
    key = line["key"]
    found: list[Problem] = []

    def report(name: str, words: str) -> None:
        found.append(Problem(raw.files[key], key, name, words))

    _fields(report, "", line, LINE, needed=("key", "stage", "title", "how", "accept", "action", "work"))
    stages = raw.head.get("stages")
    if isinstance(stages, list) and line.get("stage") in STAGES and line["stage"] not in stages:
        report("stage", "this procedure has no such stage")
    if len(str(line.get("title", ""))) > TITLE_LENGTH:
        report("title", f"must be at most {TITLE_LENGTH} characters")
    _safety(report, line)
    _points_and_repeats(report, line)
    _inputs(report, line)
    _limits(report, line)
    return found


def _safety(report: Report, line: Raw) -> None:
    injects = line.get("injects_voltage") is True
    if injects and line.get("work") != "dead":
        report("injects_voltage", "a test voltage is only ever injected in dead work")
    if (injects or line.get("work") == "live") and not line.get("caution"):
        report("caution", "live work and injected voltages carry a caution")


def _points_and_repeats(report: Report, line: Raw) -> None:
    has_point, has_party = line.get("point", "none") != "none", bool(line.get("party"))
    if has_point and not has_party:
        report("party", "a hold, witness or review point names its party")
    if has_party and not has_point:
        report("point", "a party is named only at a hold, witness or review point")
    if line.get("repeat") and not line.get("equipment"):
        report("equipment", "a line that repeats names the kind of equipment")


def _inputs(report: Report, line: Raw) -> None:
    inputs = line.get("inputs", {})
    if not isinstance(inputs, dict):
        return
    if line.get("calculation") and not inputs:
        report("inputs", "a calculation needs its inputs")
    for name, source in inputs.items():
        where = f"inputs.{name}"
        if not NAME.fullmatch(name):
            report(where, "must be a plain lower-case name")
        if not isinstance(source, dict):
            report(where, f"must be written [line.inputs.{name}]")
            continue
        _input(report, f"{where}.", name, source, calculated=bool(line.get("calculation")))


def _input(report: Report, prefix: str, name: str, source: Raw, *, calculated: bool) -> None:
    kind = source.get("kind")
    _fields(report, prefix, source, INPUT, needed=("kind", *NEEDED_OF_KIND.get(str(kind), ())))
    for extra in sorted(source.keys() - {"kind"} - ALLOWED_OF_KIND.get(str(kind), source.keys())):
        if extra in INPUT:
            report(prefix + extra, f"has no meaning for a {kind} input")
    if not calculated and kind in ("nameplate", "value"):
        report(prefix + "kind", "without a calculation only measured values and recordings are kept")
    if kind == "value" and name in ("lower", "upper") and not source.get("source"):
        report(prefix + "source", "a limit names its source")


def _limits(report: Report, line: Raw) -> None:
    limits = line.get("limits", [])
    if not isinstance(limits, list) or not limits:
        return
    if not line.get("calculation"):
        report("limits", "a limit stands on the output of a calculation")
    outputs = [str(limit.get("output")) for limit in limits if isinstance(limit, dict)]
    if len(set(outputs)) != len(limits):
        report("limits", "every limit is a table with an output of its own")
        return
    for limit in limits:
        prefix = f"limits.{limit.get('output')}."
        _fields(report, prefix, limit, LIMIT, needed=("output", "source"))
        lower, upper = limit.get("lower"), limit.get("upper")
        if lower is None and upper is None:
            report(prefix + "lower", "a limit has a lower or an upper end")
        if _number(lower) is None and _number(upper) is None and lower > upper:
            report(prefix + "lower", "lies above the upper end")


def _clashes(raw: RawProcedure, ordered: list[Raw]) -> list[Problem]:
    places: dict[tuple[str, int], str] = {}
    found = []
    for line in ordered:
        place = (str(line.get("stage")), order_of(line))
        if place in places:
            words = f"stands at the same place as {places[place]} ({place[1]}); give one of them another order"
            found.append(Problem(raw.files[line["key"]], line["key"], "order", words))
        places[place] = line["key"]
    return found


def _built(head: Raw, ordered: list[Raw]) -> ProcedureData:
    return ProcedureData(
        key=head["key"],
        title=_flowed(head["title"]),
        version=head["version"],
        issued=head["issued"],
        system_kind=head["system_kind"],
        stages=tuple(head["stages"]),
        cautions=tuple(_flowed(text) for text in head.get("cautions", [])),
        sources=tuple(_flowed(text) for text in head["sources"]),
        changes=_flowed(head.get("changes", "")),
        lines=tuple(_line(line) for line in ordered),
    )


def _line(line: Raw) -> LineData:
    plain = {name: _flowed(value) for name, value in line.items() if name not in ("order", "inputs", "limits")}
    return LineData(
        **plain,
        inputs=tuple(InputSource(name=name, **_flowed_all(source)) for name, source in line.get("inputs", {}).items()),
        limits=tuple(LimitData(**_flowed_all(limit)) for limit in line.get("limits", [])),
    )


def _flowed_all(values: Raw) -> Raw:
    return {name: _flowed(value) for name, value in values.items()}


def _flowed(value: Any) -> Any:
    """Text as it flows on a phone: line breaks of the file are not the reader's."""
    return " ".join(value.split()) if isinstance(value, str) else value
