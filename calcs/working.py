"""The sheet that a calculation is worked on: values by name, and the lines that a person reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from calcs.definition import Definition, Formula, Input, arguments, optional_arguments
from calcs.figures import show
from calcs.uncertainty import expanded, nominal

ABSENT = object()
"""The answer of a formula that lacks a value."""


@dataclass(frozen=True)
class Working:
    """One line of the working: the formula, the same with numbers and units, and the result."""

    formula: str
    substituted: str
    result: str


@dataclass
class Sheet:
    """A calculation in the making: values by name, lines of working, cautions, and whether the method applies."""

    definition: Definition
    tables: Mapping[str, Any]
    values: dict[str, Any]
    working: list[Working] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    in_scope: bool = True

    def argument(self, name: str) -> Any:
        """The value for an argument of a formula; None when it is absent."""
        if name in self.values:
            return self.values[name]
        if name.startswith("expanded_"):
            return expanded(self.values.get(name.removeprefix("expanded_"))) or 0.0
        return None

    def lacks(self, formula: Formula) -> tuple[str, ...]:
        """Names of the arguments that a formula needs and that are not there."""
        needed = (name for name in arguments(formula) if name not in optional_arguments(formula))
        return tuple(name for name in needed if self.argument(name) is None)

    def judge(self, condition: Formula) -> Any:
        """Whether a condition holds for the values without their uncertainties; ABSENT when one is not there."""
        return self.call(condition, plain=True)

    def call(self, formula: Formula, *, plain: bool = False) -> Any:
        """The result of a formula; ABSENT when it needs a value that is not there."""
        if self.lacks(formula):
            return ABSENT
        given = {name: self.argument(name) for name in arguments(formula)}
        return formula(**({name: nominal(value) for name, value in given.items()} if plain else given))

    def holds(self, condition: Formula | None) -> bool:
        """Whether the condition of a step holds; not when it needs a value that is not there."""
        if condition is None:
            return True
        answer = self.judge(condition)
        return answer is not ABSENT and bool(answer)

    def shown(self, name: str, *, uncertainty: bool = False) -> str:
        value, spec = self.values.get(name), self.definition.described(name)
        if isinstance(spec, Input) and spec.kind == "pairs" and value:
            return ", ".join(f"{show(one, spec.unit)} : {show(two, spec.second_unit)}" for one, two in value)
        return show(value, self.definition.unit(name), uncertainty=uncertainty)

    def filled(self, message: str) -> str:
        """A message with `{name}` replaced by that value and its unit."""
        return message.format_map({name: self.shown(name) for name in self.values}) if "{" in message else message
