"""Counting what a deed frees: by hand, and against a slow second way on random graphs."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from commissioning.rules.freeing import Deed, Graph, Held


def deed(name: str) -> Deed:
    return Deed("line", name, "line_open")


def gate(name: str, *, deeds: str = "", waits: str = "") -> Held:
    return Held(name, frozenset(map(deed, deeds.split())), frozenset(waits.split()))


def graph(*gates: Held) -> Graph:
    return Graph({one.stage_id: one for one in gates})


def by_rounds(gates: dict[str, Held], done: set[Deed]) -> set[str]:
    """Independent: look at every gate again until a whole round moves nothing."""
    passed: set[str] = set()
    while True:
        free = {
            name
            for name, one in gates.items()
            if name not in passed and not (one.deeds - done) and not (one.waits_for & gates.keys()) - passed
        }
        if not free:
            return passed
        passed |= free


def test_one_deed_frees_the_gate_and_those_that_wait_for_it() -> None:
    found = graph(gate("a", deeds="x"), gate("b", waits="a"), gate("c", waits="b"), gate("d", deeds="y", waits="a"))
    assert found.freed_by([deed("x")]) == ("a", "b", "c")
    assert [(one.deed.id, len(one.gates)) for one in found.most_freeing(limit=9)] == [("x", 3)]


def test_two_gates_with_one_deed_in_common_are_both_freed() -> None:
    found = graph(gate("a", deeds="x"), gate("b", deeds="x y"), gate("c", deeds="x"))
    assert found.freed_by([deed("x")]) == ("a", "c")


def test_a_gate_that_lacks_its_signature_only_is_not_counted_as_freed() -> None:
    found = graph(gate("a"), gate("b", deeds="x", waits="a"))
    assert found.ready == {"a"}
    assert found.freed_by([deed("x")]) == ("b",)


def test_a_deed_that_is_not_the_last_frees_nothing() -> None:
    found = graph(gate("a", deeds="x y"))
    assert found.freed_by([deed("x")]) == ()
    assert found.most_freeing(limit=9) == []
    [(stage, freed)] = found.most_freeing_gates(limit=9)
    assert (stage.stage_id, freed) == ("a", ("a",))


def test_a_stage_that_waits_for_another_is_not_worth_finishing_alone() -> None:
    found = graph(gate("a", deeds="x y"), gate("b", deeds="z", waits="a"))
    assert [stage.stage_id for stage, _freed in found.most_freeing_gates(limit=9)] == ["a"]


@st.composite
def graphs(draw: st.DrawFn) -> dict[str, Held]:
    names = [f"g{number}" for number in range(draw(st.integers(1, 9)))]
    found = {}
    for place, name in enumerate(names):  # a gate waits for earlier ones: acyclic, as the register keeps it
        deeds = draw(st.sets(st.sampled_from("uvwxyz"), max_size=2))
        waits = draw(st.sets(st.sampled_from(names[:place]), max_size=2)) if place else set()
        found[name] = gate(name, deeds=" ".join(deeds), waits=" ".join(waits))
    return found


@settings(max_examples=300, deadline=None)
@given(graphs(), st.sets(st.sampled_from("uvwxyz"), max_size=3))
def test_the_count_is_that_of_the_slow_way(gates: dict[str, Held], names: set[str]) -> None:
    done = {deed(name) for name in names}
    ready = by_rounds(gates, set())
    found = Graph(gates)
    assert found.ready == ready
    assert set(found.freed_by(done)) == by_rounds(gates, done) - ready
    alone = {one: len(by_rounds(gates, {one}) - ready) for held in gates.values() for one in held.deeds}
    listed = {one.deed: len(one.gates) for one in found.most_freeing(limit=99)}
    assert listed == {one: count for one, count in alone.items() if count}
