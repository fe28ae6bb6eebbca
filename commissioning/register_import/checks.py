"""What the rows of a sheet must agree on among themselves and with the register, beyond each cell on its own. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from commissioning.rules.dependencies import Edge, cycle_words, find_cycle, stage_order
from commissioning.rules.stages import STAGE_WORDS

from .plan import Check, View
from .rows import Problem, Row
from .sheet import Key

#: So many cycles are written out; more may show once these are gone.
_CYCLES = 100


def kind_stays(view: View) -> Iterator[Problem]:
    """A system's stages and check lines follow from its kind, so it is not changed under them."""
    for row, recorded in _recorded(view):
        kind, was = row.values.get("kind"), recorded["kind"]
        if kind is not None and kind != was:
            label = view.sheet.by_name["kind"].show(was)
            wrong = f"the system is recorded as '{label}' and its stages are laid out for that"
            yield view.problem(row, "kind", wrong, f"write '{label}', or record a new system under another tag")


def system_stays(view: View) -> Iterator[Problem]:
    """Check lines and readings belong to the system that the equipment stands in."""
    for row, recorded in _recorded(view):
        system, was = row.values.get("system"), recorded["system"]
        if system is not None and system != was:
            wrong = f"the equipment is recorded in the system '{was}', with its check lines"
            yield view.problem(row, "system", wrong, f"write '{was}', or record it in '{system}' under a new tag")


def _recorded(view: View) -> Iterator[tuple[Row, Mapping[str, Any]]]:
    for row in view.rows.rows:
        found = view.register.find(view.sheet.name, row.key)
        former = row.values.get(view.sheet.former) or () if view.sheet.former and found is None else ()
        for tag in former:
            found = found or view.register.find(view.sheet.name, (tag,))
        if found is not None:
            yield row, found.values


def parents_end(view: View) -> Iterator[Problem]:
    """Nothing is part of itself, not over any number of steps."""
    parents: dict[str, str] = {}
    for (tag,), recorded in view.register.sheets["equipment"].by_key.items():
        if recorded.values.get("parent"):
            parents[tag] = recorded.values["parent"]
    rows = {row.key[0]: row for row in view.rows.rows}
    for tag, row in rows.items():
        if "parent" in row.values:
            parents[tag] = row.values["parent"]
    edges = [(tag, parent) for tag, parent in parents.items() if parent]
    for _ in range(_CYCLES):
        cycle = find_cycle(edges)
        blamed = [tag for tag in cycle or () if tag in rows]
        if not cycle or not blamed:
            return
        chain = " is part of ".join(f"'{tag}'" for tag in (*cycle, cycle[0]))
        yield view.problem(rows[blamed[-1]], "parent", f"it would be part of itself: {chain}", "correct one parent")
        edges = [edge for edge in edges if edge[0] != blamed[-1]]


def serials_differ(view: View) -> Iterator[Problem]:
    """One maker gives a serial number once; the same one under two tags is a slip, or equipment that was renamed."""
    seen: dict[tuple[str, str], str] = {}
    tags = {row.key[0] for row in view.rows.rows} | {
        tag for row in view.rows.rows for tag in row.values.get("former_tags") or ()
    }
    for (tag,), recorded in view.register.sheets["equipment"].by_key.items():
        if tag not in tags and (serial := _serial(recorded.values)):
            seen.setdefault(serial, tag)
    for row in view.rows.rows:
        serial = _serial({name: view.value("equipment", row.key, name) for name in ("maker", "serial_number")})
        if serial is None:
            continue
        other = seen.setdefault(serial, row.key[0])
        if other != row.key[0] and _says_serial(view, row):
            wrong = f"the serial number {row.values['serial_number']} is on '{other}' too"
            right = f"correct it; if '{other}' was renamed, write '{other}' under former tags and drop its row"
            yield view.problem(row, "serial_number", wrong, right)


def _serial(values: Mapping[str, Any]) -> tuple[str, str] | None:
    serial = values.get("serial_number")
    return (str(values.get("maker") or "").casefold(), str(serial).casefold()) if serial else None


def _says_serial(view: View, row: Row) -> bool:
    """Whether the row sets or changes the serial number: what is recorded already is not held against an import."""
    recorded = view.register.find("equipment", row.key)
    was = recorded.values.get("serial_number") if recorded else None
    return row.values.get("serial_number") not in (None, was)


def stage_is_planned(view: View) -> Iterator[Problem]:
    """A signal point is proved in a stage that its system goes through."""
    for row in view.rows.rows:
        if "stage_kind" in row.values:
            yield from _stage_problem(view, row, "system", "stage_kind")


def gate_is_there(view: View) -> Iterator[Problem]:
    """A date is planned for a stage that its system goes through."""
    for row in view.rows.rows:
        yield from _stage_problem(view, row, "system", "stage")


def stages_are_planned(view: View) -> Iterator[Problem]:
    for row in view.rows.rows:
        if row.values["system"] == row.values["requires_system"]:
            wrong = "within a system the stages follow in order by themselves"
            yield view.problem(row, "requires_system", wrong, "name another system, or drop the row")
        yield from _stage_problem(view, row, "system", "stage")
        yield from _stage_problem(view, row, "requires_system", "requires_stage")


def _stage_problem(view: View, row: Row, system: str, column: str) -> Iterator[Problem]:
    tag, stage = row.values[system], row.values[column]
    plan = view.stages_of(tag)
    if plan and stage not in plan:
        words = ", ".join(STAGE_WORDS[one] for one in plan)
        wrong = f"'{tag}' has no stage {STAGE_WORDS.get(stage, stage)}"
        yield view.problem(row, column, wrong, f"its stages are: {words}")


def dependencies_end(view: View) -> Iterator[Problem]:
    """No stage waits for itself, counting the order of stages within each system."""
    recorded = [_edge(key) for key in view.register.sheets["stage_dependencies"].by_key]
    rows = {_edge(row.key): row for row in view.rows.rows}
    systems = {name for edge in (*recorded, *rows) for name, _ in edge}
    edges: list[Edge] = [*stage_order({tag: view.stages_of(tag) for tag in systems}), *recorded, *rows]
    for _ in range(_CYCLES):
        cycle = find_cycle(edges)
        if cycle is None:
            return
        steps = list(zip(cycle, (*cycle[1:], cycle[0]), strict=True))
        blamed = [step for step in steps if step in rows and rows[step].values["system"] != step[1][0]]
        if not blamed:
            return
        last = max(blamed, key=lambda step: rows[step].number)
        start = cycle.index(last[0])
        words = cycle_words((*cycle[start:], *cycle[:start]))
        wrong = f"it would make a stage wait for itself: {words}"
        yield view.problem(rows[last], "requires_stage", wrong, "drop or correct one of these dependencies")
        edges = [edge for edge in edges if edge != last]


def _edge(key: Key) -> Edge:
    system, stage, requires_system, requires_stage = key
    return (system, stage), (requires_system, requires_stage)


def upper_above_lower(view: View) -> Iterator[Problem]:
    for row in view.rows.rows:
        lower, upper = row.values.get("lower", 0), row.values.get("upper")
        if upper is not None and lower is not None and upper <= lower:
            wrong = f"the upper end {upper} is not above the lower end {lower}"
            yield view.problem(row, "upper", wrong, "give the largest magnitude that the range shows")


def due_after_done(view: View) -> Iterator[Problem]:
    for row in view.rows.rows:
        done = row.values.get("calibrated_on")
        due = view.value("calibrations", row.key, "due_on")
        if done and due and due < done:
            wrong = f"it would be due on {due}, before it was calibrated on {done}"
            yield view.problem(row, "due_on", wrong, "give the date on which it is due again")


CHECKS: Mapping[str, Sequence[Check]] = {
    "systems": (kind_stays,),
    "equipment": (system_stays, parents_end, serials_differ),
    "stage_dependencies": (stages_are_planned, dependencies_end),
    "plan_dates": (gate_is_there,),
    "signal_points": (stage_is_planned,),
    "instrument_ranges": (upper_above_lower,),
    "calibrations": (due_after_done,),
}
