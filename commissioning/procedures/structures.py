"""What a procedure is once it is read: frozen data with nothing left to look up."""

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import date
from functools import cached_property


@dataclass(frozen=True)
class InputSource:
    """Where one input of a line's calculation comes from.

    `measured` is typed by the engineer in `unit`; `nameplate` is `key` of the system or of the equipment kind `of`;
    `value` is fixed by the procedure; `recording` is a test recording attached to the line. `many` takes a list,
    `optional` may be left empty. On a line without a calculation a measured input is a value kept on record.
    """

    name: str
    kind: str
    label: str = ""
    unit: str = ""
    key: str = ""
    of: str = ""
    value: float | str | None = None
    many: bool = False
    optional: bool = False
    source: str = ""


@dataclass(frozen=True)
class LimitData:
    """A limit on one output of the calculation that stands instead of the catalogue's, and who says so."""

    output: str
    source: str
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class LineData:
    """One check line: what to do, how, what is good enough, and what can hurt."""

    key: str
    stage: str
    title: str
    how: str
    accept: str
    action: str
    work: str
    injects_voltage: bool = False
    caution: str = ""
    point: str = "none"
    party: str = ""
    required: bool = True
    equipment: str = ""
    repeat: str = ""
    timer_seconds: int | None = None
    calculation: str = ""
    inputs: tuple[InputSource, ...] = ()
    limits: tuple[LimitData, ...] = ()


@dataclass(frozen=True)
class ProcedureData:
    """One version of one bundled procedure; `lines` stand in the order in which they are done."""

    key: str
    title: str
    version: int
    issued: date
    system_kind: str
    stages: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    lines: tuple[LineData, ...]
    changes: str = ""

    @cached_property
    def content_hash(self) -> str:
        """SHA-256 over everything the procedure says, the same on every machine."""
        text = json.dumps(asdict(self), sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)
        return hashlib.sha256(text.encode()).hexdigest()

    def line(self, key: str) -> LineData:
        """The line with this key; KeyError if the procedure has none."""
        for line in self.lines:
            if line.key == key:
                return line
        raise KeyError(key)
