"""The text of a formula, taken from the formula itself: what is printed is what was computed.

`100 * (measured - nominal) / nominal` becomes `100·(U − U_n)/U_n`, and with numbers `100·(206.9 V − 230 V)/230 V`.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

_BINARY: dict[type[ast.operator], tuple[str, int]] = {
    ast.Add: (" + ", 1), ast.Sub: (" − ", 1), ast.Mult: ("·", 2), ast.Div: ("/", 2),
}  # fmt: skip
_COMPARE: dict[type[ast.cmpop], str] = {
    ast.LtE: "≤", ast.Lt: "<", ast.GtE: "≥", ast.Gt: ">", ast.Eq: "=", ast.NotEq: "≠",
}  # fmt: skip
_SUPERSCRIPT = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_CALLS = {"log": "ln", "maximum": "max", "minimum": "min", "total": "Σ", "sqrt": "√", "cbrt": "∛"}
ATOM = 9


@lru_cache(maxsize=512)
def body(function: Callable[..., Any]) -> ast.expr | None:
    """The single expression a formula returns; None when its body is more than that."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    statements = [one for one in getattr(tree, "body", []) if not _is_docstring(one)]
    if len(statements) == 1 and isinstance(statements[0], ast.Return):
        return statements[0].value
    return None


def _is_docstring(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


def render(function: Callable[..., Any], names: Mapping[str, str]) -> str | None:
    """Text of a formula, each argument replaced by what `names` gives for it; None when it is not one expression."""
    expression = body(function)
    if expression is None:
        return None
    return _Writer(names, function.__globals__).write(expression)[0]


class _Writer:
    def __init__(self, names: Mapping[str, str], constants: Mapping[str, Any]) -> None:
        self.names = names
        self.constants = constants

    def write(self, node: ast.expr) -> tuple[str, int]:
        return getattr(self, f"_{type(node).__name__.lower()}")(node)

    def inside(self, node: ast.expr, at_least: int) -> str:
        text, precedence = self.write(node)
        return text if precedence >= at_least else f"({text})"

    def _constant(self, node: ast.Constant) -> tuple[str, int]:
        return str(node.value), ATOM

    def _name(self, node: ast.Name) -> tuple[str, int]:
        text = self.names.get(node.id)
        if text is None:
            text = str(self.constants[node.id])
        if text.startswith("−") or ", " in text:
            return f"({text})", ATOM
        return text, 8 if " " in text else ATOM

    def _unaryop(self, node: ast.UnaryOp) -> tuple[str, int]:
        if isinstance(node.op, ast.Not):
            return f"not {self.inside(node.operand, 1)}", 0
        return f"−{self.inside(node.operand, 2)}", 1

    def _binop(self, node: ast.BinOp) -> tuple[str, int]:
        if isinstance(node.op, ast.Pow):
            return self._power(node)
        sign, precedence = _BINARY[type(node.op)]
        tighter = isinstance(node.op, ast.Div | ast.Sub)
        right = self.inside(node.right, precedence + 1 if tighter else precedence)
        return f"{self.inside(node.left, precedence)}{sign}{right}", precedence

    def _power(self, node: ast.BinOp) -> tuple[str, int]:
        base = self.inside(node.left, ATOM)
        if isinstance(node.right, ast.Constant) and isinstance(node.right.value, int):
            return base + str(node.right.value).translate(_SUPERSCRIPT), 7
        return f"{base}^({self.write(node.right)[0]})", 7

    def _call(self, node: ast.Call) -> tuple[str, int]:
        name = node.func.id if isinstance(node.func, ast.Name) else ast.unparse(node.func)
        if name == "nominal":
            return self.write(node.args[0])
        if name == "absolute":
            return f"|{self.write(node.args[0])[0]}|", ATOM
        if name == "where":
            return self._choice(*node.args)
        inner = "; ".join(self.write(one)[0] for one in node.args)
        if inner.startswith("(") and inner.endswith(")") and inner.count("(") == 1:
            return f"{_CALLS.get(name, name)}{inner}", ATOM
        return f"{_CALLS.get(name, name)}({inner})", ATOM

    def _ifexp(self, node: ast.IfExp) -> tuple[str, int]:
        return self._choice(node.test, node.body, node.orelse)

    def _choice(self, test: ast.expr, then: ast.expr, otherwise: ast.expr) -> tuple[str, int]:
        return (f"{self.inside(then, 1)} if {self.write(test)[0]}, otherwise {self.inside(otherwise, 1)}", 0)

    def _compare(self, node: ast.Compare) -> tuple[str, int]:
        text = self.inside(node.left, 1)
        for sign, right in zip(node.ops, node.comparators, strict=True):
            text += f" {_COMPARE[type(sign)]} {self.inside(right, 1)}"
        return text, 0

    def _boolop(self, node: ast.BoolOp) -> tuple[str, int]:
        word = " and " if isinstance(node.op, ast.And) else " or "
        return word.join(self.inside(one, 0) for one in node.values), 0

    def _listcomp(self, node: ast.ListComp) -> tuple[str, int]:
        """A list built from a list reads as its element: Σ(x²) for total([x ** 2 for x in values])."""
        loop = node.generators[0]
        inner = _Writer({**self.names, ast.unparse(loop.target): self.write(loop.iter)[0]}, self.constants)
        return inner.write(node.elt)

    def _list(self, node: ast.List) -> tuple[str, int]:
        return ", ".join(self.write(one)[0] for one in node.elts), 0
