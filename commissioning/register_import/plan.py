"""Rows and the existing register → what would be added, changed and left alone, and every problem. Pure."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from uuid import UUID

from .columns import Column
from .recorded import Recorded, RecordedSheet, Register
from .rows import Problem, Row, SheetRows, Workbook
from .sheet import Key, Sheet

#: Rows whose changes a summary spells out, per sheet; the counts are always whole.
SHOWN_ROWS = 200
SHOWN_PROBLEMS = 5000


@dataclass(slots=True)
class PlannedRow:
    """A row that would add or change something."""

    row: Row
    label: str
    pk: UUID | None = None
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)

    @property
    def values(self) -> dict[str, Any]:
        return self.row.values


@dataclass
class SheetPlan:
    sheet: Sheet
    added: list[PlannedRow] = field(default_factory=list)
    changed: list[PlannedRow] = field(default_factory=list)
    same: int = 0

    def shown(self, planned: PlannedRow) -> dict[str, Any]:
        """A row for people: each changed field with its old and new value in words."""
        columns = self.sheet.by_name
        changes = [
            {"column": columns[name].heading, "old": columns[name].show(old), "new": columns[name].show(new)}
            for name, (old, new) in planned.changes.items()
        ]
        return {"row": planned.row.number, "label": planned.label, "changes": changes}


@dataclass
class Plan:
    """What an import would do. It does it only when there is no problem."""

    workbook: Workbook
    register: Register
    sheets: dict[str, SheetPlan]
    problems: list[Problem]
    notes: list[str]

    @property
    def can_apply(self) -> bool:
        return not self.problems

    @property
    def changes_nothing(self) -> bool:
        return not any(sheet.added or sheet.changed for sheet in self.sheets.values())

    @cached_property
    def digest(self) -> str:
        """What would be done, as a hash: it tells whether a later plan would still do the same."""
        found = hashlib.sha256()
        for sheet in self.sheets.values():
            for one in sheet.added:
                found.update(repr((sheet.sheet.name, one.row.key, sorted(one.values.items()))).encode())
            for one in sheet.changed:
                found.update(repr((sheet.sheet.name, one.pk, sorted(one.changes.items()))).encode())
        return found.hexdigest()

    def summary(self) -> dict[str, Any]:
        """The plan as plain data, for a page or a job's result: whole counts, the first rows of each sheet."""
        return {
            "can_apply": self.can_apply,
            "changes_nothing": self.changes_nothing,
            "digest": self.digest,
            "sheets": [
                {
                    "sheet": one.sheet.name,
                    "title": one.sheet.title,
                    "added": len(one.added),
                    "changed": len(one.changed),
                    "same": one.same,
                    "added_rows": [one.shown(planned) for planned in one.added[:SHOWN_ROWS]],
                    "changed_rows": [one.shown(planned) for planned in one.changed[:SHOWN_ROWS]],
                }
                for one in self.sheets.values()
            ],
            "problem_count": len(self.problems),
            "problems": [problem.as_data() for problem in self.problems[:SHOWN_PROBLEMS]],
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class View:
    """What a check of one sheet may look at: its rows, the whole workbook, and what is recorded."""

    rows: SheetRows
    workbook: Workbook
    register: Register

    @property
    def sheet(self) -> Sheet:
        return self.rows.sheet

    @cached_property
    def _rows_by_key(self) -> dict[str, Mapping[Key, Row]]:
        return {name: rows.by_key for name, rows in self.workbook.sheets.items()}

    def find_row(self, sheet: str, key: Key) -> Row | None:
        return self._rows_by_key.get(sheet, {}).get(key)

    @cached_property
    def _bare_keys(self) -> dict[str, dict[str, Any]]:
        return {}

    def bare_keys(self, sheet: str) -> Mapping[str, Any]:
        """The keys of a sheet by their letters and digits alone."""
        if sheet not in self._bare_keys:
            rows = self._rows_by_key.get(sheet, {})
            keys = (*self.register.sheets[sheet].by_key, *rows)
            self._bare_keys[sheet] = {bare(key[-1]): key[-1] for key in keys}
        return self._bare_keys[sheet]

    def value(self, sheet: str, key: Key, column: str) -> Any:
        """The value after the import: the workbook's, else the recorded one."""
        row = self.find_row(sheet, key)
        if row is not None and column in row.values:
            return row.values[column]
        recorded = self.register.find(sheet, key)
        return recorded.values.get(column) if recorded else None

    def stages_of(self, system: str) -> Sequence[str]:
        """The stages that a system has, or will have by its kind."""
        if system in self.register.stages:
            return self.register.stages[system]
        kind = self.value("systems", (system,), "kind")
        return self.register.plan_for(kind) if kind else ()

    def problem(self, row: Row, column: str, wrong: str, right: str) -> Problem:
        heading = self.sheet.by_name[column].heading if column else ""
        return Problem(self.sheet.title, row.number, heading, wrong, right.rstrip("."))


Check = Callable[[View], Iterator[Problem]]


def build_plan(*, workbook: Workbook, register: Register, checks: Mapping[str, Sequence[Check]]) -> Plan:
    """Compare every row with the register; all problems of all sheets at once."""
    problems = list(workbook.problems)
    plans: dict[str, SheetPlan] = {}
    renamed: dict[str, dict[Any, Any]] = {}
    for name, recorded in register.sheets.items():
        if (rows := workbook.sheets.get(name)) is None:
            continue
        view = View(rows, workbook, register)
        planner = _SheetPlanner(view, recorded, renamed)
        plans[name] = planner.plan()
        problems += planner.problems
        problems += _unknown_references(view)
        for check in checks.get(name, ()):
            problems += check(view)
    order = {register.sheets[name].sheet.title: at for at, name in enumerate(register.sheets)}
    problems = sorted(set(problems), key=lambda one: (order.get(one.sheet, -1), one.row, one.column, one.wrong))
    return Plan(workbook, register, plans, problems, list(workbook.notes))


class _SheetPlanner:
    """Compares the rows of one sheet with what is recorded for it."""

    def __init__(self, view: View, recorded: RecordedSheet, renamed: dict[str, dict[Any, Any]]) -> None:
        self.view, self.recorded, self.renamed = view, recorded, renamed
        self.sheet = view.sheet
        self.result = SheetPlan(self.sheet)
        self.problems: list[Problem] = []
        self.seen: dict[Any, Row] = {}

    def plan(self) -> SheetPlan:
        matches = [(row, self._match(row)) for row in self.view.rows.rows]
        for row, found in matches:
            if self._is_repeated(row, found) or row.bad:
                continue
            if found is None:
                self._add(row)
            else:
                self._compare(row, found)
        return self.result

    def _match(self, row: Row) -> Recorded | None:
        """What is recorded under the row's key, or under a former tag that the row names."""
        found = self.recorded.find(row.key)
        if found is None and self.sheet.former:
            for former in row.values.get(self.sheet.former) or ():
                if (found := self.recorded.find((former,))) is not None:
                    self.renamed.setdefault(self.sheet.name, {})[former] = row.key[0]
                    return found
        return found

    def _is_repeated(self, row: Row, found: Recorded | None) -> bool:
        earlier = self.seen.setdefault(found.pk if found else row.key, row)
        if earlier is row:
            return False
        column = self.sheet.keys[-1][-1]
        wrong = f"the same {self.sheet.one} ({self.sheet.words_for(row.values)}) stands on row {earlier.number}"
        self.problems.append(self.view.problem(row, column, wrong, "keep one of the two rows, or correct this one"))
        return True

    def _add(self, row: Row) -> None:
        for column in self.sheet.columns:
            if column.required and row.values.get(column.name) is None:
                wrong = f"the cell is empty, and a new {self.sheet.one} needs it"
                self.problems.append(self.view.problem(row, column.name, wrong, column.help))
        self.result.added.append(PlannedRow(row, self.sheet.words_for(row.values)))

    def _compare(self, row: Row, found: Recorded) -> None:
        changes = {} if found.settled else dict(self._changes(row, found))
        for name, (_, new) in changes.items():
            if new is None and self.sheet.by_name[name].required:
                wrong = f"a {self.sheet.one} cannot be without it"
                self.problems.append(self.view.problem(row, name, wrong, self.sheet.by_name[name].help))
        if changes:
            self.result.changed.append(PlannedRow(row, self.sheet.words_for(row.values), found.pk, changes))
        else:
            self.result.same += 1

    def _changes(self, row: Row, found: Recorded) -> Iterator[tuple[str, tuple[Any, Any]]]:
        for name, new in row.values.items():
            column = self.sheet.by_name[name]
            old = self._current_name(column, column.normal(found.values.get(name)))
            if old != new and not column.only_new:
                yield name, (column.normal(found.values.get(name)), new)

    def _current_name(self, column: Column, old: Any) -> Any:
        """A parent that this workbook renames is still the same parent."""
        return self.renamed.get(column.refers_to, {}).get(old, old) if column.refers_to else old


def _unknown_references(view: View) -> Iterator[Problem]:
    for column in view.sheet.columns:
        if not column.refers_to:
            continue
        for row in view.rows.rows:
            value = row.values.get(column.name)
            if value is not None and not _is_known(view, column.refers_to, value):
                target = view.register.sheets[column.refers_to].sheet
                wrong = f"there is no {target.one} '{value}'"
                right = f"add it on the sheet {target.title}, or correct it{_near(view, column.refers_to, value)}"
                yield view.problem(row, column.name, wrong, right)


def _is_known(view: View, sheet: str, value: Any) -> bool:
    return view.register.find(sheet, (value,)) is not None or view.find_row(sheet, (value,)) is not None


def _near(view: View, sheet: str, value: str) -> str:
    """The key that differs only in capitals, spaces or dashes, if there is one."""
    near = view.bare_keys(sheet).get(bare(value))
    return f" (did you mean '{near}'?)" if near is not None else ""


def bare(text: object) -> str:
    return "".join(letter for letter in str(text).casefold() if letter.isalnum())
