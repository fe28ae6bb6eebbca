"""What the register holds already, as far as an import needs it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from .sheet import Key, Sheet


@dataclass(frozen=True, slots=True)
class Recorded:
    """Something that the register holds already: how to find it again and what its sheet would say of it.

    A settled one (a closed snag, a withdrawn calibration) is found, so that it is not added again, and left alone.
    """

    pk: UUID
    keys: tuple[Key, ...]
    values: Mapping[str, Any]
    settled: bool = False


class RecordedSheet:
    """Everything recorded for one sheet, found by key."""

    def __init__(self, sheet: Sheet, recorded: Iterable[Recorded]) -> None:
        self.sheet = sheet
        self.by_key: dict[Key, Recorded] = {}
        self.count = 0
        for one in recorded:
            self.count += 1
            for key in one.keys:
                self.by_key.setdefault(key, one)

    def find(self, key: Key) -> Recorded | None:
        return self.by_key.get(key)


@dataclass(frozen=True)
class Register:
    """The existing register as far as an import needs it."""

    sheets: Mapping[str, RecordedSheet]
    stages: Mapping[str, Sequence[str]] = field(default_factory=dict)
    plan_for: Callable[[str], Sequence[str]] = lambda kind: ()

    def find(self, sheet: str, key: Key) -> Recorded | None:
        recorded = self.sheets.get(sheet)
        return recorded.find(key) if recorded else None
