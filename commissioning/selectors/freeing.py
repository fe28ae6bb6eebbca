"""What holds the gates of many systems at once, and which deeds free the most of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from commissioning.models import StageDependency, System
from commissioning.rules.freeing import WAITING, Deed, Graph, deed_of, graph_of
from commissioning.rules.gate import Blocker, StageFacts, acceptance_blockers
from commissioning.selectors.access import Access, systems_for
from commissioning.selectors.facts import load_facts

#: So many systems are looked through while the page waits (measured: about 4 ms a system).
MOST_SYSTEMS = 400
LISTED = 10


@dataclass(frozen=True, slots=True)
class FreeingDeed:
    """A deed with its blocker (what, where, whose turn) and the gates that pass once it is done."""

    deed: Deed
    blocker: Blocker
    gates: tuple[StageFacts, ...]


@dataclass(frozen=True, slots=True)
class FreeingGate:
    """A gate, how much is left to do for it, and the gates that pass with it."""

    stage: StageFacts
    left: int
    gates: tuple[StageFacts, ...]


@dataclass(frozen=True, slots=True)
class Turn:
    """What one role has to do: so many things, the oldest since then."""

    turn: str
    count: int
    oldest: datetime | None


@dataclass(frozen=True, slots=True)
class Holding:
    """The answer of the page."""

    systems: int
    left_out: int
    held: int
    ready: tuple[StageFacts, ...]
    deeds: tuple[FreeingDeed, ...]
    gates: tuple[FreeingGate, ...]
    turns: tuple[Turn, ...]


@dataclass(frozen=True, slots=True)
class IfDone:
    """Gates that pass, in their order; so many more of which the person sees nothing; and gates that stay held.

    Each of those has the number of other things left for it, and of gates that it still waits for.
    """

    freed: tuple[StageFacts, ...] = ()
    unseen: int = 0
    still_held: tuple[tuple[StageFacts, int, int], ...] = ()


def holding(*, access: Access, site: UUID | None = None) -> Holding:
    """What holds the gates of a site, or of the project; the graph takes in what they wait for elsewhere."""
    wanted = systems_for(access).order_by("site__code", "tag", "pk")
    if site:
        wanted = wanted.filter(site=site)
    found = list(wanted.values_list("pk", flat=True)[: MOST_SYSTEMS + 1])
    left_out = wanted.count() - MOST_SYSTEMS if len(found) > MOST_SYSTEMS else 0
    found = found[:MOST_SYSTEMS]
    stages = _stages(found)
    graph = graph_of(stages.values())
    shown = {str(one) for one in found}
    blockers = _blockers(stages, shown)
    return Holding(
        systems=len(found),
        left_out=left_out,
        held=sum(1 for gate in graph.gates if stages[gate].system_id in shown),
        ready=tuple(stages[one] for one in sorted(graph.ready) if stages[one].system_id in shown),
        deeds=tuple(
            FreeingDeed(one.deed, blockers[one.deed], tuple(stages[gate] for gate in one.gates))
            for one in graph.most_freeing(limit=LISTED * 4)
            if one.deed in blockers
        )[:LISTED],
        gates=_gates(graph, stages, shown),
        turns=_turns(blockers),
    )


def if_done(*, access: Access, system: UUID, kind: str, id: str) -> IfDone:
    """What passes if everything that the gates ask of one record is done: a punch item closed, a line passed."""
    if not systems_for(access).filter(pk=system).exists():
        return IfDone()
    stages = _stages([system])
    graph = graph_of(stages.values())
    deeds = {one for gate in graph.gates.values() for one in gate.deeds if (one.kind, one.id) == (kind, id)}
    freed = graph.freed_by(deeds)
    joined_to = {one.system_id for one in stages.values()}
    visible = {str(one) for one in systems_for(access).filter(pk__in=joined_to).values_list("pk", flat=True)}
    seen = tuple(stages[one] for one in freed if stages[one].system_id in visible)
    passed = {*freed, *graph.ready}
    held = [gate for gate in graph.gates.values() if gate.deeds & deeds and gate.stage_id not in passed]
    still = [
        (stages[gate.stage_id], len(gate.deeds - deeds), sum(one in graph.gates for one in gate.waits_for - passed))
        for gate in held
        if stages[gate.stage_id].system_id in visible
    ]
    return IfDone(seen, len(freed) - len(seen), tuple(sorted(still, key=lambda one: (one[0].system_tag, one[0].order))))


def _stages(systems: Collection[UUID]) -> Mapping[str, StageFacts]:
    """Stages of the systems and of all that these wait for or that wait for them, however far."""
    facts = load_facts(system_ids=joined(systems))
    return {one.stage_id: one for one in facts.values()}


def joined(systems: Collection[UUID]) -> set[UUID]:
    """The systems and every one that dependencies join to them."""
    wanted = set(systems)
    project = System.objects.filter(pk__in=list(systems)[:1]).values("project")
    pairs = StageDependency.objects.filter(stage__system__project__in=project).values_list(
        "stage__system", "requires__system"
    )
    neighbours: dict[UUID, set[UUID]] = defaultdict(set)
    for one, other in pairs:
        neighbours[one].add(other)
        neighbours[other].add(one)
    look = list(wanted)
    while look:
        for other in neighbours.get(look.pop(), set()) - wanted:
            wanted.add(other)
            look.append(other)
    return wanted


def _blockers(stages: Mapping[str, StageFacts], shown: Collection[str]) -> dict[Deed, Blocker]:
    """Every deed that is left on the systems shown, with the first blocker that asks for it."""
    found: dict[Deed, Blocker] = {}
    for facts in stages.values():
        if facts.state == "accepted" or facts.system_id not in shown:
            continue
        for blocker in acceptance_blockers(facts):
            if blocker.code not in WAITING:
                found.setdefault(deed_of(blocker), blocker)
    return found


def _gates(graph: Graph, stages: Mapping[str, StageFacts], shown: Collection[str]) -> tuple[FreeingGate, ...]:
    found = [
        FreeingGate(stages[gate.stage_id], len(gate.deeds), tuple(stages[one] for one in freed))
        for gate, freed in graph.most_freeing_gates(limit=LISTED * 4)
        if stages[gate.stage_id].system_id in shown
    ]
    return tuple(found[:LISTED])


def _turns(blockers: Mapping[Deed, Blocker]) -> tuple[Turn, ...]:
    counts = Counter(one.turn for one in blockers.values())
    since: dict[str, list[datetime]] = defaultdict(list)
    for one in blockers.values():
        if one.since:
            since[one.turn].append(one.since)
    return tuple(Turn(turn, count, min(since[turn], default=None)) for turn, count in counts.most_common())
