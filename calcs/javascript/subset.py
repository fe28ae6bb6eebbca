"""What of Python a formula may use so that it can also be written as JavaScript; anything else is named with its line.

Expressions: numbers, words, None and truths; arguments and local names; constants of the module; `+ − * / **`, `&` and
`|` of truths; comparisons, `is None`, `in`; `and`, `or`, `not`; `x if c else y`; lists, tuples, dictionaries with
constant keys, indices and slices; comprehensions; lambdas; f-strings; calls of the functions of `calcs.maths`, of
`nominal`, `expanded`, `uncertain`, `parse`, `within_range`, `show` and `plain`, of other plain functions of this
package, and of the builtins in `BUILTINS`.

Statements: assignments, `if`, `for`, `return`, `raise InputError(…)`, `try` with one `except InputError`, and
`xs.append(x)`.

Branches that ask whether a value is an array (`_is_array(x)`, `hasattr(x, "shape")`) are for bulk work, and are left
out.
"""

from __future__ import annotations

import ast
import inspect
import json
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


class OutsideTheSubset(ValueError):
    """A formula uses something that cannot be written as JavaScript; the message names file and line."""


@dataclass(frozen=True)
class Source:
    """The text of a function, as a tree, with the place where it stands."""

    function: Callable[..., Any]
    tree: ast.FunctionDef
    file: str
    first_line: int

    def outside(self, node: ast.AST, what: str) -> OutsideTheSubset:
        line = self.first_line + getattr(node, "lineno", 1) - 1
        name = self.function.__name__
        return OutsideTheSubset(f"{self.file}:{line}: {name} uses {what}, which has no counterpart on the phone")


def source_of(function: Callable[..., Any]) -> Source:
    """The source of a plain function of this package."""
    try:
        lines, first = inspect.getsourcelines(function)
    except (OSError, TypeError):
        raise OutsideTheSubset(f"{function!r} has no source text to translate") from None
    tree = ast.parse(textwrap.dedent("".join(lines))).body[0]
    found = Source(function, tree, inspect.getsourcefile(function) or "?", first)  # type: ignore[arg-type]
    if not isinstance(tree, ast.FunctionDef) or tree.decorator_list or tree.args.vararg or tree.args.kwarg:
        raise found.outside(tree, "a decorator, a lambda as the formula, or a free number of arguments")
    return found


#: Builtins and the runtime's function of the same meaning.
BUILTINS = {
    "len": "$len", "sum": "$total", "range": "$range", "zip": "$zip", "enumerate": "$enumerate", "all": "$all",
    "any": "$any", "set": "$set", "abs": "$absolute", "float": "$nominal", "int": "Math.trunc", "str": "$str",
    "list": "$list", "tuple": "$list", "sorted": "$sorted", "max": "$largest", "min": "$smallest", "bool": "$true",
}  # fmt: skip

MATH = {
    "sqrt": "$sqrt", "log": "$log", "exp": "$exp", "isfinite": "Number.isFinite", "isnan": "Number.isNaN",
    "erfc": "$erfc", "floor": "Math.floor", "ceil": "Math.ceil",
}  # fmt: skip

#: Functions of this package that the runtime writes by hand, since they differ between floats and arrays or parse text.
BY_HAND = {
    "calcs.maths": (
        ["sqrt", "log", "exp", "cbrt", "absolute", "where", "maximum", "minimum", "total", "mean", "floor", "ceil",
         "normal_distribution"],
        "$",
    ),
    "calcs.uncertainty": (["nominal", "expanded", "uncertain"], "$"),
    "calcs.units": (["parse"], "$"),
    "calcs.intake": (["within_range"], "$"),
    "calcs.figures": (["plain", "show"], "$"),
    "calcs.reference": (["source_words"], "$"),
}  # fmt: skip

BINARY: dict[type[ast.operator], str] = {
    ast.Add: "$add", ast.Sub: "$sub", ast.Mult: "$mul", ast.Div: "$div", ast.Pow: "$pow",
    ast.BitAnd: "$both", ast.BitOr: "$either",
}  # fmt: skip

COMPARE: dict[type[ast.cmpop], str] = {
    ast.Lt: "$lt", ast.LtE: "$le", ast.Gt: "$gt", ast.GtE: "$ge", ast.Eq: "$eq", ast.NotEq: "!$eq",
    ast.In: "$in", ast.NotIn: "!$in",
}  # fmt: skip

#: Fields that may be read off a value: those of a parsed quantity and of a decision.
FIELDS = frozenset({"value", "expanded_uncertainty", "typed", "verdict", "probability", "words"})

_RESERVED = """
    await break case catch class const continue debugger default delete do else enum export extends false finally for
    function if implements import in instanceof interface let new null package private protected public return static
    super switch this throw true try typeof var void while with yield arguments eval undefined NaN Infinity
"""
RESERVED = frozenset(_RESERVED.split())


def by_hand(function: Any) -> str | None:
    """The runtime's name of a function that is written there by hand."""
    names, prefix = BY_HAND.get(getattr(function, "__module__", ""), ((), ""))
    return f"{prefix}{function.__name__}" if getattr(function, "__name__", None) in names else None


def name(text: str) -> str:
    """A Python name as a JavaScript one."""
    return f"{text}_" if text in RESERVED else text


def literal(value: Any) -> str | None:
    """A constant as JavaScript; None when it is not plain data."""
    if isinstance(value, float) and value in (float("inf"), float("-inf")):
        return "Infinity" if value > 0 else "-Infinity"
    if value is None or isinstance(value, bool | int | float | str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list | tuple):
        parts = [literal(one) for one in value]
        return None if None in parts else f"[{', '.join(map(str, parts))}]"
    if isinstance(value, dict) and all(isinstance(key, str) for key in value):
        pairs = {key: literal(one) for key, one in value.items()}
        return None if None in pairs.values() else f"{{{', '.join(f'{json.dumps(k)}: {v}' for k, v in pairs.items())}}}"
    return None
