"""Procedure files into plain dictionaries: shared parts are written once and put together here.

A file may carry, besides its own `[[line]]` tables:

- `include = ["part_battery@1.toml"]`: the lines of other files beside it, themselves put together the same way; a
  later version includes the one before and takes over what its own `[procedure]` does not say;
- `omit = ["mc-150"]`: included lines it does without;
- `[[override]]` with the `key` of an included line and the fields that differ (inputs are merged one by one).

Lines are sorted by stage and then by `order`, which is the number in the key unless the line says otherwise. So a line
of one's own goes between two shared ones by taking a number between theirs.
"""

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from .terms import STAGES

Raw = dict[str, Any]
TOP_LEVEL = {"procedure", "include", "omit", "override", "line"}


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a procedure file: where it stands, and what is expected there."""

    file: str
    line: str
    field: str
    words: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.line, self.field) if part)
        return f"{place}: {self.words}"


@dataclass
class RawProcedure:
    """A file with everything it includes, not yet checked field by field."""

    file: str
    head: Raw = field(default_factory=dict)
    lines: dict[str, Raw] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def report(self, line: str, name: str, words: str) -> None:
        self.problems.append(Problem(self.file, line, name, words))

    def in_order(self) -> list[Raw]:
        """The lines as they are done: by stage, then by order."""
        return sorted(self.lines.values(), key=_place)


def read(path: Path, *, within: tuple[str, ...] = ()) -> RawProcedure:
    """Read one file and put in what it includes; what is wrong is collected, not raised."""
    raw = RawProcedure(path.name)
    content = _parsed(raw, path)
    for name in sorted(content.keys() - TOP_LEVEL):
        raw.report("", name, f"unknown; a file may have {', '.join(sorted(TOP_LEVEL))}")
    raw.head = _head(raw, content)
    _take_includes(raw, path, _names(raw, content, "include"), (*within, path.name))
    for key in _names(raw, content, "omit"):
        if raw.lines.pop(key, None) is None:
            raw.report(key, "omit", "no included file has this line")
    for override in _tables(raw, content, "override"):
        _apply(raw, override)
    for line in _tables(raw, content, "line"):
        _add(raw, line, raw.file)
    return raw


def order_of(line: Raw) -> int:
    """Where a line stands within its stage."""
    found = re.search(r"\d+$", str(line.get("key", "")))
    order = line.get("order", int(found.group()) if found else 0)
    return order if isinstance(order, int) else 0


def _place(line: Raw) -> tuple[int, int]:
    stage = line.get("stage")
    return (STAGES.index(stage) if stage in STAGES else len(STAGES), order_of(line))


def _parsed(raw: RawProcedure, path: Path) -> Raw:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raw.report("", "", "no such file")
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raw.report("", "", f"not TOML: {error}")
    return {}


def _head(raw: RawProcedure, content: Raw) -> Raw:
    head = content.get("procedure", {})
    if isinstance(head, dict):
        return head
    raw.report("", "procedure", "must be written [procedure]")
    return {}


def _names(raw: RawProcedure, content: Raw, name: str) -> list[str]:
    names = content.get(name, [])
    if isinstance(names, list) and all(isinstance(item, str) for item in names):
        return names
    raw.report("", name, "must be a list of words")
    return []


def _tables(raw: RawProcedure, content: Raw, name: str) -> list[Raw]:
    tables = content.get(name, [])
    if isinstance(tables, list) and all(isinstance(item, dict) for item in tables):
        return tables
    raw.report("", name, f"must be written [[{name}]]")
    return []


def _take_includes(raw: RawProcedure, path: Path, names: list[str], within: tuple[str, ...]) -> None:
    for name in names:
        if name in within:
            raw.report("", "include", f"{name} includes itself by way of {' and '.join(within)}")
            continue
        if "/" in name or "\\" in name:
            raw.report("", "include", f"{name}: a file of the same folder is named without a path")
            continue
        part = read(path.with_name(name), within=within)
        raw.problems += part.problems
        raw.head = {**{field: value for field, value in part.head.items() if field != "changes"}, **raw.head}
        for key, line in part.lines.items():
            _add(raw, line, part.files[key])


def _add(raw: RawProcedure, line: Raw, file: str) -> None:
    key = line.get("key")
    if not isinstance(key, str):
        raw.report("", "key", "every line has a key")
    elif key in raw.lines:
        raw.report(key, "key", f"already a line of {raw.files[key]}; a changed line is written as [[override]]")
    else:
        raw.lines[key] = line
        raw.files[key] = file


def _apply(raw: RawProcedure, override: Raw) -> None:
    key = str(override.get("key", ""))
    if key not in raw.lines:
        raw.report(key, "override", "no included file has this line")
        return
    merged = {**raw.lines[key], **override}
    if isinstance(override.get("inputs"), dict):
        merged["inputs"] = _merged_inputs(raw.lines[key].get("inputs", {}), override["inputs"])
    raw.lines[key] = merged
    raw.files[key] = raw.file


def _merged_inputs(old: Any, new: Raw) -> Raw:
    """Input by input: the same kind takes the changed fields, another kind replaces the input."""
    merged = dict(old) if isinstance(old, dict) else {}
    for name, source in new.items():
        before = merged.get(name)
        if isinstance(before, dict) and isinstance(source, dict) and _same_kind(before, source):
            merged[name] = {**before, **source}
        else:
            merged[name] = source
    return merged


def _same_kind(before: Raw, source: Raw) -> bool:
    return bool(source.get("kind", before.get("kind")) == before.get("kind"))
