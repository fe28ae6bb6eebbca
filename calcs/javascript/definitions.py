"""Definitions of the catalogue as JavaScript: their words and data as they are, their formulas as functions."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from calcs.definition import (
    Caution,
    Check,
    Definition,
    Input,
    Limit,
    Lookup,
    Output,
    Scope,
    Step,
    arguments,
    optional_arguments,
)  # fmt: skip
from calcs.javascript import subset
from calcs.javascript.formula_text import tree_of
from calcs.javascript.statements import Functions
from calcs.reference import source_words


class Definitions:
    """Writes definitions; each formula and each table is written once, whatever number of steps uses it."""

    def __init__(self, functions: Functions) -> None:
        self.functions = functions
        self.formulas: dict[Callable[..., Any], str] = {}
        self.tables: dict[str, str] = {}
        self.texts: list[str] = []

    def definition(self, one: Definition) -> str:
        """One calculation, complete."""
        return _object(
            name=_data(one.name),
            title=_data(one.title),
            edition=_data(one.edition),
            inputs=_array(map(self._input, one.inputs)),
            outputs=_array(map(_output, one.outputs)),
            between=_array(map(_output, one.between)),
            steps=_array(self._step(one, step) for step in one.steps),
            limits=_array(map(_limit, one.limits)),
            cautions=_array(map(self._caution, one.cautions)),
            attention=_data(one.attention),
            sources=_data(one.sources),
        )

    def _input(self, one: Input) -> str:
        read = self.functions.function(one.read) if one.read else None
        shown = {key: _data(value) for key, value in _said(one.as_json()) if (key, value) != ("kind", "scalar")}
        return _object(**shown, **({"read": read} if read else {}))

    def _step(self, definition: Definition, step: Step | Lookup | Check | Scope) -> str:
        when = self._when(getattr(step, "when", None))
        if isinstance(step, Lookup):
            rest = {"table": self._table(definition, step.table), "by": _data(step.by), "method": _data(step.method)}
            column = {"column": _data(step.column)} if step.column else {}
            text = _data(definition.formula_text(step))
            return _object(kind='"look"', value=_data(step.value), text=text, **rest, **column, **when)
        formula = {"formula": self._formula(step.formula)}
        if isinstance(step, Step):
            names = (step.value,) if isinstance(step.value, str) else step.value
            extra = {"silent": "true"} if step.silent else {"text": _data(definition.formula_text(step))}
            extra |= {"told": "true"} if step.text and not step.silent else {}
            extra |= {"several": "true"} if isinstance(step.value, tuple) else {}
            return _object(kind='"step"', values=_data(names), **formula, **extra, **when)
        if isinstance(step, Check):
            return _object(kind='"check"', **formula, message=_data(step.message), input=_data(step.input))
        return _object(kind='"scope"', **formula, message=_data(step.message))

    def _when(self, formula: Callable[..., Any] | None) -> dict[str, str]:
        return {} if formula is None else {"when": self._formula(formula)}

    def _caution(self, one: Caution) -> str:
        return _object(text=_data(one.text), **self._when(one.when))

    def _formula(self, formula: Callable[..., Any]) -> str:
        """A formula with the names of its arguments, those that may be absent, and its text as a tree."""
        if formula not in self.formulas:
            written = self.functions.function(formula)
            self.formulas[formula] = f"F.{written}"
            optional = [name for name in arguments(formula) if name in optional_arguments(formula)]
            tree = tree_of(subset.source_of(formula))
            parts = [written, _data(list(arguments(formula))), _data(optional), _data(tree)]
            self.texts.append(f"F.{written} = $formula({', '.join(parts)});")
        return self.formulas[formula]

    def _table(self, definition: Definition, name: str) -> str:
        table = definition.tables[name]
        text = _data({"title": table["title"], "words": source_words(table), "values": table["values"]})
        if text not in self.tables:
            self.tables[text] = f"T.{name}${len(self.tables)}"
            self.texts.append(f"{self.tables[text]} = {text};")
        return self.tables[text]


def _output(one: Output) -> str:
    return _object(**{key: _data(value) for key, value in one.as_json().items() if value and value != "number"})


def _limit(one: Limit) -> str:
    if any(isinstance(bound, int) and abs(bound) >= 10**6 for bound in (one.lower, one.upper)):
        raise subset.OutsideTheSubset(
            f"the limit of {one.output} is a whole number of a million or more: write a point"
        )
    plain = one.as_json() | {"uncertainty": one.uncertainty, "guard_factor": one.guard_factor}
    return _object(**{key: _data(value) for key, value in _said(plain)})


def _said(plain: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """What is said at all: zero is, nothing is not."""
    return (
        (key, value)
        for key, value in plain.items()
        if value is not None and value is not False and value not in ("", [])
    )


def _object(**parts: str) -> str:
    return f"{{{','.join(f'{key}:{text}' for key, text in parts.items())}}}"


def _array(parts: Iterator[str] | Any) -> str:
    return f"[{','.join(parts)}]"


def _data(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return text if "Infinity" not in text else str(subset.literal(value))  # a table may end at infinity
