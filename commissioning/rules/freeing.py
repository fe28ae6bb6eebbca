"""Which few deeds let the most gates pass: counted over the graph of what waits for what, nothing estimated.

A gate is free when nothing is left to do for it and every gate that it waits for has passed. To say what a deed frees,
the deed is taken as done, every gate that is free then passes (its signer signs), and so on until nothing moves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from commissioning.rules.gate import Blocker, StageFacts, acceptance_blockers

#: Blockers that are no deed of their own: another gate has to pass.
WAITING = ("previous_not_accepted", "dependency_not_accepted")


@dataclass(frozen=True, slots=True, order=True)
class Deed:
    """One thing to do: what the blockers of one record and one code ask for."""

    kind: str
    id: str
    code: str


@dataclass(frozen=True, slots=True)
class Held:
    """A gate that has not passed: what is left to do for it, and the gates it waits for."""

    stage_id: str
    deeds: frozenset[Deed]
    waits_for: frozenset[str]


@dataclass(frozen=True, slots=True)
class Freed:
    """A deed, with the gates that pass because of it, in the order in which they pass."""

    deed: Deed
    gates: tuple[str, ...]


@dataclass(slots=True)
class Graph:
    """Every gate that has not passed."""

    gates: Mapping[str, Held]
    _waiting: dict[str, list[str]] = field(init=False, default_factory=lambda: defaultdict(list))
    _needing: dict[Deed, list[str]] = field(init=False, default_factory=lambda: defaultdict(list))
    ready: frozenset[str] = field(init=False, default=frozenset())

    def __post_init__(self) -> None:
        for gate in self.gates.values():
            for other in gate.waits_for:
                self._waiting[other].append(gate.stage_id)
            for deed in gate.deeds:
                self._needing[deed].append(gate.stage_id)
        self.ready = frozenset(self.passing(done=(), start=self.gates, already=frozenset()))

    def passing(self, *, done: Collection[Deed], start: Iterable[str], already: frozenset[str]) -> list[str]:
        """Gates that pass one after the other once `done` is done, looked for from `start`; those of `already` have."""
        did, passed, order = frozenset(done), set(already), []
        look = sorted(start)
        while look:
            free = [one for one in look if one not in passed and self._is_free(self.gates[one], did, passed)]
            passed.update(free)
            order.extend(free)
            look = sorted({waiting for one in free for waiting in self._waiting.get(one, ()) if waiting in self.gates})
        return order

    def _is_free(self, gate: Held, done: frozenset[Deed], passed: Collection[str]) -> bool:
        return gate.deeds <= done and all(other in passed or other not in self.gates for other in gate.waits_for)

    def freed_by(self, deeds: Collection[Deed]) -> tuple[str, ...]:
        """Gates that pass because these deeds are done, besides those that need nobody but their signer."""
        start = {gate for deed in deeds for gate in self._needing.get(deed, ())}
        return tuple(self.passing(done=deeds, start=start, already=self.ready))

    def most_freeing(self, *, limit: int) -> list[Freed]:
        """The single deeds that free the most gates, the most first; only those that free at least one."""
        lone = {next(iter(gate.deeds)) for gate in self.gates.values() if len(gate.deeds) == 1}
        found = [Freed(deed, self.freed_by([deed])) for deed in lone]
        return sorted((one for one in found if one.gates), key=lambda one: (-len(one.gates), one.deed))[:limit]

    def most_freeing_gates(self, *, limit: int) -> list[tuple[Held, tuple[str, ...]]]:
        """The gates whose whole remaining work frees the most others: what finishing that stage is worth."""
        found = [(gate, self.freed_by(gate.deeds)) for gate in self.gates.values() if gate.deeds]
        worth = [(gate, freed) for gate, freed in found if gate.stage_id in freed]
        return sorted(worth, key=lambda one: (-len(one[1]), len(one[0].deeds), one[0].stage_id))[:limit]


def deed_of(blocker: Blocker) -> Deed:
    return Deed(blocker.link_kind, blocker.link_id, blocker.code)


def held(facts: StageFacts) -> Held:
    """A stage that is not accepted, as the graph sees it."""
    blockers = acceptance_blockers(facts)
    return Held(
        stage_id=facts.stage_id,
        deeds=frozenset(deed_of(one) for one in blockers if one.code not in WAITING),
        waits_for=frozenset(one.link_id for one in blockers if one.code in WAITING),
    )


def graph_of(stages: Iterable[StageFacts]) -> Graph:
    """The graph of all stages that are not accepted. Leave none of them out: a gate outside counts as passed."""
    return Graph({one.stage_id: held(one) for one in stages if one.state != "accepted"})
