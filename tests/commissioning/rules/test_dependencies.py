"""Cycles of waiting stages, against the topological sorter of the standard library."""

from __future__ import annotations

from graphlib import CycleError, TopologicalSorter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from commissioning.rules.dependencies import cycle_words, find_cycle, stage_order

_EDGES = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25)


@given(_EDGES)
def test_a_cycle_is_found_exactly_when_no_order_of_work_exists(edges: list[tuple[int, int]]) -> None:
    # independent: graphlib of the Python standard library
    graph: dict[int, set[int]] = {}
    for stage, requires in edges:
        graph.setdefault(stage, set()).add(requires)
    cycle = find_cycle(edges)
    try:
        TopologicalSorter(graph).prepare()
    except CycleError:
        assert cycle is not None
    else:
        assert cycle is None


@given(_EDGES)
def test_what_is_called_a_cycle_is_one(edges: list[tuple[int, int]]) -> None:
    cycle = find_cycle(edges)
    if cycle is not None:
        assert len(set(cycle)) == len(cycle)
        assert all(step in edges for step in zip(cycle, (*cycle[1:], cycle[0]), strict=True))


def test_a_chain_of_a_hundred_thousand_is_walked_without_running_out_of_stack() -> None:
    chain = [(at, at + 1) for at in range(100_000)]
    assert find_cycle(chain) is None
    assert len(find_cycle([*chain, (100_000, 0)]) or ()) == 100_001


def test_each_stage_waits_for_the_one_before_it() -> None:
    assert stage_order({"A": ["pre_energisation", "energisation"], "B": ["energisation"]}) == [
        (("A", "energisation"), ("A", "pre_energisation"))
    ]


def test_a_cycle_over_the_order_of_stages_is_written_out() -> None:
    edges = [
        (("A", "pre_energisation"), ("B", "energisation")),
        (("B", "pre_energisation"), ("A", "energisation")),
        *stage_order({tag: ["pre_energisation", "energisation"] for tag in "AB"}),
    ]
    cycle = find_cycle(edges)
    assert cycle is not None
    assert cycle_words(cycle) == (
        "A pre-energisation waits for B energisation, which waits for B pre-energisation, "
        "which waits for A energisation, which waits for A pre-energisation"
    )


@pytest.mark.parametrize("edges", [[], [(1, 2)], [(1, 2), (1, 3), (2, 3)]])
def test_work_that_can_be_ordered_has_no_cycle(edges: list[tuple[int, int]]) -> None:
    assert find_cycle(edges) is None
