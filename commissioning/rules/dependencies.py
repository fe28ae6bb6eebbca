"""Stages that wait for stages: a stage that would wait for itself in the end can never be accepted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import TypeVar

from .stages import STAGE_WORDS

#: (tag of the system, kind of stage)
StageName = tuple[str, str]
Edge = tuple[StageName, StageName]
NodeT = TypeVar("NodeT")


def stage_order(stages: Mapping[str, Sequence[str]]) -> list[Edge]:
    """Within a system each stage waits for the one before it."""
    return [((tag, later), (tag, earlier)) for tag, plan in stages.items() for earlier, later in pairwise(plan)]


def find_cycle(edges: Iterable[tuple[NodeT, NodeT]]) -> tuple[NodeT, ...] | None:
    """One cycle of `a waits for b`, each node once and in order of waiting, or None. Linear in the edges."""
    waits_for: dict[NodeT, list[NodeT]] = {}
    for stage, requires in edges:
        waits_for.setdefault(stage, []).append(requires)
    settled: set[NodeT] = set()
    for start in waits_for:
        if start not in settled and (cycle := _walk(start, waits_for, settled)):
            return cycle
    return None


def _walk(start: NodeT, waits_for: Mapping[NodeT, list[NodeT]], settled: set[NodeT]) -> tuple[NodeT, ...] | None:
    """Depth first from `start` without recursion: a chain of ten thousand stages must not exhaust the stack."""
    path, place = [start], {start: 0}
    ways = [iter(waits_for.get(start, ()))]
    while path:
        following = next(ways[-1], None)
        if following is None:
            ways.pop()
            done = path.pop()
            del place[done]
            settled.add(done)
        elif following in place:
            return tuple(path[place[following] :])
        elif following not in settled:
            place[following] = len(path)
            path.append(following)
            ways.append(iter(waits_for.get(following, ())))
    return None


def cycle_words(cycle: Sequence[StageName]) -> str:
    """The cycle written out: 'B1 energisation waits for A1 energisation, which waits for B1 energisation'."""
    names = [f"{tag} {STAGE_WORDS.get(kind, kind)}" for tag, kind in (*cycle, cycle[0])]
    return f"{names[0]} waits for " + ", which waits for ".join(names[1:])
