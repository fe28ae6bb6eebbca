"""What a calculation is: its inputs, outputs, steps, limits, cautions and sources, stated once.

Everything that is shown or computed is drawn from a `Definition`: the shell, the API, procedure lines, the phone form,
the dossier page and the reference page. A module of the catalogue calls `define` once for each calculation; numbers
that a project may want to change (limits, defaults, tables) stand in the data file of the same name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from calcs import reference
from calcs.expression import render

Formula = Callable[..., Any]
REGISTRY: dict[tuple[str, str], Definition] = {}


@dataclass(frozen=True)
class Input:
    """One input.

    Kind: scalar, list, pairs (`320:1, 100:29`), choice, or table (a mapping that is passed on as it is).
    """

    name: str
    symbol: str
    unit: str
    lower: float | None = None
    upper: float | None = None
    help: str = ""
    kind: str = "scalar"
    choices: tuple[Any, ...] = ()
    default: Any = None
    required: bool = True
    measured: bool = False
    whole: bool = False
    second_unit: str = ""
    read: Callable[[Any], Any] | None = None

    def as_json(self) -> dict[str, Any]:
        shown = ("name", "symbol", "unit", "lower", "upper", "help", "kind", "default", "required", "measured", "whole")
        return {key: getattr(self, key) for key in shown} | {
            "choices": list(self.choices), "second_unit": self.second_unit,
        }  # fmt: skip


def measured(name: str, symbol: str, unit: str, lower: float, upper: float, help: str, **more: Any) -> Input:
    """An input that an instrument gives; it may carry an uncertainty."""
    return Input(name, symbol, unit, lower, upper, help, measured=True, **more)


def given(name: str, symbol: str, unit: str, lower: float, upper: float, help: str, **more: Any) -> Input:
    """An input that is known or chosen: a nameplate value, a count, a setting."""
    return Input(name, symbol, unit, lower, upper, help, **more)


def choice(name: str, choices: tuple[Any, ...], help: str, **more: Any) -> Input:
    """An input that is one of a few words or numbers."""
    return Input(
        name, more.pop("symbol", name.replace("_", " ")), "", help=help, kind="choice", choices=choices, **more
    )


@dataclass(frozen=True)
class Output:
    """One result, or a value on the way to it. Kind: number, count (whole, no uncertainty), truth, text or list."""

    name: str
    symbol: str
    unit: str
    help: str = ""
    kind: str = "number"

    def as_json(self) -> dict[str, Any]:
        return {key: getattr(self, key) for key in ("name", "symbol", "unit", "help", "kind")}


@dataclass(frozen=True)
class Step:
    """Compute `value` (or several values) with a formula whose arguments are named after inputs and values.

    A step is passed over when an argument without a default is absent, or when `when` says no. An argument called
    `expanded_x` receives the expanded uncertainty of `x`. `text` describes a formula that is more than one expression.
    """

    value: str | tuple[str, ...]
    formula: Formula
    when: Formula | None = None
    text: str = ""
    silent: bool = False


@dataclass(frozen=True)
class Lookup:
    """Take `value` from a table: words of `by` choose the branch, a number at its end is looked up along it."""

    value: str
    table: str
    by: tuple[str, ...]
    method: str = "exact"
    column: str = ""
    when: Formula | None = None


@dataclass(frozen=True)
class Check:
    """Refuse the inputs with `message` unless the formula holds."""

    formula: Formula
    message: str
    input: str = ""


@dataclass(frozen=True)
class Scope:
    """The range of the method: unless the formula holds, the verdict is 'cannot say', with `message`."""

    formula: Formula
    message: str


@dataclass(frozen=True)
class Caution:
    """A caution that is printed when its formula holds (always, without one)."""

    text: str
    when: Formula | None = None


@dataclass(frozen=True)
class Limit:
    """A criterion (it decides) or an advice (it only cautions) for an output or a measured input.

    A bound is a number, or the name of an input or value, with a minus sign before it where needed.
    """

    output: str
    lower: float | str | None
    upper: float | str | None
    source: str
    role: str = "criterion"
    optional: bool = False
    uncertainty: str = ""
    guard_factor: str = ""

    def as_json(self) -> dict[str, Any]:
        return {key: getattr(self, key) for key in ("output", "lower", "upper", "source", "role", "optional")}


@dataclass(frozen=True)
class Definition:
    """A calculation, complete: what it takes, what it gives, how, and on whose authority."""

    name: str
    title: str
    edition: str
    module: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    between: tuple[Output, ...]
    steps: tuple[Step | Lookup | Check | Scope, ...]
    limits: tuple[Limit, ...]
    cautions: tuple[Caution, ...]
    attention: tuple[str, ...]
    sources: tuple[str, ...]
    tables: Mapping[str, Any] = field(repr=False)
    defaults_from: Mapping[str, str] = field(default_factory=dict)

    def input(self, name: str) -> Input | None:
        return next((one for one in self.inputs if one.name == name), None)

    def described(self, name: str) -> Input | Output | None:
        """The input, output or value on the way that has this name."""
        everything: tuple[Input | Output, ...] = (*self.outputs, *self.between, *self.inputs)
        return next((one for one in everything if one.name == name), None)

    def symbol(self, name: str) -> str:
        found = self.described(name)
        return found.symbol if found else name

    def unit(self, name: str) -> str:
        found = self.described(name)
        return found.unit if found else ""

    def formula_text(self, step: Step | Lookup) -> str:
        """A step as it is printed: symbols, and where a table value comes from."""
        if isinstance(step, Lookup):
            table = self.tables[step.table]
            by = ", ".join(self.symbol(one) for one in step.by)
            return f"{self.symbol(step.value)} from {table['title']} ({by})"
        left = ", ".join(self.symbol(one) for one in _names(step.value))
        right = step.text or render(step.formula, {name: self.symbol(name) for name in arguments(step.formula)})
        return f"{left} = {right}"

    def formulas(self) -> tuple[str, ...]:
        """Every formula of the calculation, as text, in the order of computing."""
        spoken = (one for one in self.steps if isinstance(one, Lookup) or (isinstance(one, Step) and not one.silent))
        return tuple(self.formula_text(one) for one in spoken)

    def as_json(self) -> dict[str, Any]:
        return {
            "calculation": self.name,
            "title": self.title,
            "edition": self.edition,
            "inputs": [one.as_json() for one in self.inputs],
            "outputs": [one.as_json() for one in self.outputs],
            "formulas": list(self.formulas()),
            "limits": [one.as_json() for one in self.limits],
            "attention": list(self.attention),
            "cautions": [one.text for one in self.cautions],
            "sources": list(self.sources),
        }


def _names(value: str | tuple[str, ...]) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else value


@lru_cache(maxsize=1024)
def arguments(function: Formula) -> tuple[str, ...]:
    """Names of the arguments of a formula."""
    code = function.__code__
    return code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]


@lru_cache(maxsize=1024)
def optional_arguments(function: Formula) -> frozenset[str]:
    """Names of the arguments that have a default and may therefore be absent."""
    defaults = function.__defaults__ or ()
    positional = function.__code__.co_varnames[: function.__code__.co_argcount]
    return frozenset(positional[len(positional) - len(defaults) :])


def define(
    name: str,
    *,
    module: str,
    title: str,
    inputs: tuple[Input, ...],
    outputs: tuple[Output, ...],
    steps: tuple[Step | Lookup | Check | Scope, ...],
    between: tuple[Output, ...] = (),
    cautions: tuple[Caution | str, ...] = (),
    attention: tuple[str, ...] = (),
    edition: str = "1",
) -> Definition:
    """State a calculation and enter it in the catalogue; `module` is the caller's `__name__`, naming the data file."""
    data = reference.load(module.rpartition(".")[2])
    own = data.get(f"{name}@{edition}", data.get(name, {}))
    defaults = own.get("defaults", {})
    definition = Definition(
        name=name,
        title=title,
        edition=edition,
        module=module,
        inputs=tuple(_with_default(one, defaults) for one in inputs),
        outputs=outputs,
        between=between,
        steps=steps,
        limits=tuple(_limit(one) for one in own.get("limits", ())),
        cautions=tuple(one if isinstance(one, Caution) else Caution(one) for one in cautions),
        attention=attention,
        sources=tuple(reference.source_words(one) for one in own.get("sources", ())),
        tables=data.get("tables", {}),
        defaults_from={key: reference.source_words(one) for key, one in defaults.items()},
    )
    if (name, edition) in REGISTRY and REGISTRY[name, edition].module != module:
        raise ValueError(f"{name} edition {edition} is defined in {module} and in {REGISTRY[name, edition].module}")
    REGISTRY[name, edition] = definition
    return definition


def _with_default(one: Input, defaults: Mapping[str, Any]) -> Input:
    from dataclasses import replace

    default = defaults[one.name]["value"] if one.name in defaults else one.default
    return replace(one, default=default, required=one.required and default is None)


def _limit(entry: Mapping[str, Any]) -> Limit:
    return Limit(
        output=entry["output"],
        lower=entry.get("lower"),
        upper=entry.get("upper"),
        source=reference.source_words(entry),
        role=entry.get("role", "criterion"),
        optional=entry.get("optional", False),
        uncertainty=entry.get("uncertainty", ""),
        guard_factor=entry.get("guard_factor", ""),
    )
