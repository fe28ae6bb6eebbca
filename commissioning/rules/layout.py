"""How a procedure's lines are laid out over a system's equipment: once, or for each piece of a kind."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Generic, TypeVar

EquipmentT = TypeVar("EquipmentT", bound=Hashable)


@dataclass(frozen=True, slots=True)
class LineShape:
    """What the layout needs to know of a line."""

    key: str
    equipment_kind: str = ""
    repeat: str = ""  # each, first, following; empty: once


@dataclass(frozen=True, slots=True)
class Placed(Generic[EquipmentT]):
    """A line with the piece of equipment it is about, if any."""

    key: str
    equipment: EquipmentT | None


def lay_out(lines: Sequence[LineShape], equipment: Mapping[str, Sequence[EquipmentT]]) -> list[Placed[EquipmentT]]:
    """The lines in the order in which they are done.

    Neighbouring lines that repeat for the same kind stay together: everything for the second module, then everything
    for the third. A kind of which the register lists nothing gets its lines once, without a tag, so that no work is
    dropped because the register is thin.
    """
    placed: list[Placed[EquipmentT]] = []
    for (kind, repeat), block in groupby(lines, key=lambda line: (line.equipment_kind, line.repeat)):
        keys = [line.key for line in block]
        pieces = _pieces(repeat, list(equipment.get(kind, ())) if kind else [])
        placed.extend(Placed(key, piece) for piece in pieces for key in keys)
    return placed


def _pieces(repeat: str, found: list[EquipmentT]) -> Sequence[EquipmentT | None]:
    if not found:
        return [None]
    if repeat == "each":
        return found
    if repeat == "following":
        return found[1:]
    return found[:1]
