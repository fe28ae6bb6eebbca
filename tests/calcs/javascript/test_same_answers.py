"""Python and the phone give the same answer: verdict, numbers, uncertainty, probability, working, words."""

from __future__ import annotations

import math
from typing import Any

import pytest

import calcs
from calcs.javascript.program import chosen
from calcs.typeset import mathml
from tests.calcs.javascript.cases import Asker
from tests.support.javascript import run_in_node

EACH = 200
"""Questions for each calculation: more than 6,000 over the whole catalogue."""


def answer_of_python(name: str, inputs: Any, options: dict[str, Any]) -> dict[str, Any]:
    try:
        found = calcs.run(name, inputs, **options).as_json()
        found["working"] = [{**step, "mathml": mathml(step["formula"])} for step in found["working"]]
        return {"value": found}
    except calcs.InputError as error:
        return {"refused": str(error), "input": error.input}


def differences(ours: Any, theirs: Any, where: str = "") -> list[str]:
    """Every place where two answers differ: numbers by more than 1e-9 of their size, anything else at all."""
    if isinstance(ours, dict) and isinstance(theirs, dict):
        keys = {**ours, **theirs}
        return [one for key in keys for one in differences(ours.get(key), theirs.get(key), f"{where}.{key}")]
    if isinstance(ours, list | tuple) and isinstance(theirs, list) and len(ours) == len(theirs):
        return [
            one
            for at, pair in enumerate(zip(ours, theirs, strict=True))
            for one in differences(*pair, f"{where}[{at}]")
        ]
    if (
        isinstance(ours, int | float)
        and isinstance(theirs, int | float)
        and isinstance(ours, bool) == isinstance(theirs, bool)
    ):
        return (
            [] if math.isclose(ours, theirs, rel_tol=1e-9, abs_tol=1e-12) else [f"{where}: {ours!r} is not {theirs!r}"]
        )
    return [] if ours == theirs else [f"{where}: {ours!r} is not {theirs!r}"]


def compared(cases: list[tuple[str, dict[str, Any], dict[str, Any]]], answers: list[dict[str, Any]]) -> list[str]:
    found = []
    for (name, inputs, options), theirs in zip(cases, answers, strict=True):
        if theirs.get("later"):
            continue
        ours = answer_of_python(name, inputs, options)
        kept = {key: theirs[key] for key in ("value", "refused", "input") if key in theirs}
        if different := differences(ours, kept):
            found.append(f"{name} {inputs} {options}: {different[:3]}")
    return found


def questions(seed: int, each: int) -> list[tuple[str, dict[str, Any], dict[str, Any]]]:
    asker, cases = Asker(seed), []
    for definition in chosen():
        for _ in range(each):
            options: dict[str, Any] = {"edition": definition.edition}
            if limits := asker.limits(definition):
                options["limits"] = limits
            options["guard_factor"] = asker.random.choice((1.0, 1.0, 0.0, 0.5, 1.64))
            cases.append((definition.name, asker.inputs(definition), options))
    return cases


@pytest.mark.parametrize("seed", [1, 2])
def test_both_answer_alike(seed, tmp_path):
    cases = questions(seed, EACH // 2)
    answers = run_in_node(tmp_path, [("calculate", *case) for case in cases])
    found = compared(cases, answers)
    assert found[:5] == [], len(found)
    kinds = {"value" in one for one in answers}
    assert kinds == {True, False}, "both results and refusals were compared"
