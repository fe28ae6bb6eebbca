"""What a newer version of a procedure changes: shown before a project takes it over."""

from bisect import bisect_left
from dataclasses import asdict, dataclass, field, fields

from .structures import LineData, ProcedureData


@dataclass(frozen=True)
class LineDifference:
    """One difference. `kind` is added, removed, changed or moved; `fields` maps a name to (old, new).

    A line that both changed and moved is two differences. A move says what the line followed before and follows now
    ('' at the beginning of a stage); the second of two lines that moved together follows the first, before and now.
    Inputs and limits are named `inputs.<name>.<field>` and `limits.<output>.<field>`.
    """

    kind: str
    key: str
    fields: dict[str, tuple[object, object]] = field(default_factory=dict)


def differences(old: ProcedureData, new: ProcedureData) -> list[LineDifference]:
    """Every line that differs: removed ones first, then the others in the new order."""
    before = {line.key: line for line in old.lines}
    after = {line.key: line for line in new.lines}
    moved = _moved(old, new)
    found = [LineDifference("removed", key) for key in before if key not in after]
    for key, line in after.items():
        if key not in before:
            found.append(LineDifference("added", key))
            continue
        changed = _changed(before[key], line)
        if changed:
            found.append(LineDifference("changed", key, changed))
        if key in moved:
            found.append(LineDifference("moved", key, {"after": (_predecessor(old, key), _predecessor(new, key))}))
    return found


def _changed(old: LineData, new: LineData) -> dict[str, tuple[object, object]]:
    before, after = _flat(old), _flat(new)
    names = [*before, *(name for name in after if name not in before)]
    return {name: (before.get(name), after.get(name)) for name in names if before.get(name) != after.get(name)}


def _flat(line: LineData) -> dict[str, object]:
    plain: dict[str, object] = {
        part.name: getattr(line, part.name) for part in fields(line) if part.name not in ("inputs", "limits")
    }
    for source in line.inputs:
        plain |= {f"inputs.{source.name}.{name}": value for name, value in asdict(source).items() if name != "name"}
    for limit in line.limits:
        plain |= {f"limits.{limit.output}.{name}": value for name, value in asdict(limit).items() if name != "output"}
    return plain


def _moved(old: ProcedureData, new: ProcedureData) -> set[str]:
    """Keys that changed their place: as few as explain the new order, and every one that changed its stage."""
    place = {line.key: index for index, line in enumerate(old.lines)}
    stages = {line.key: line.stage for line in old.lines}
    kept = [line.key for line in new.lines if line.key in place]
    still = _longest_rising([place[key] for key in kept])
    out_of_order = {key for index, key in enumerate(kept) if index not in still}
    return out_of_order | {line.key for line in new.lines if stages.get(line.key, line.stage) != line.stage}


def _longest_rising(numbers: list[int]) -> set[int]:
    """Indices of a longest rising subsequence: the lines that kept their order among each other."""
    tails: list[int] = []
    tail_index: list[int] = []
    previous: list[int | None] = []
    for index, number in enumerate(numbers):
        at = bisect_left(tails, number)
        previous.append(tail_index[at - 1] if at else None)
        tails[at : at + 1] = [number]
        tail_index[at : at + 1] = [index]
    chosen: set[int] = set()
    index_or_none = tail_index[-1] if tail_index else None
    while index_or_none is not None:
        chosen.add(index_or_none)
        index_or_none = previous[index_or_none]
    return chosen


def _predecessor(procedure: ProcedureData, key: str) -> str:
    stage = procedure.line(key).stage
    keys = [line.key for line in procedure.lines if line.stage == stage]
    at = keys.index(key)
    return keys[at - 1] if at else ""
