"""The expression of a formula as a small tree, from which the phone prints the same text as `calcs.expression`.

A node is a word (printed as it is), or a list: its kind, then its parts. Names stay names, since the numbers that take
their place are known on the phone only.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from typing import Any

from calcs.expression import _BINARY, _CALLS, _COMPARE, _SUPERSCRIPT, body
from calcs.javascript.subset import Source

Node = str | list[Any]


def tree_of(source: Source) -> Node | None:
    """The tree of the expression that a function returns; None when its body is more than one expression."""
    expression = body(source.function)
    return None if expression is None else _Tree(source).node(expression)


class _Tree:
    def __init__(self, source: Source) -> None:
        self.source = source
        self.constants: Mapping[str, Any] = source.function.__globals__
        tree = source.tree.args
        self.names = {one.arg for one in (*tree.args, *tree.kwonlyargs)}

    def node(self, node: ast.expr) -> Node | None:
        """A tree, or None where the expression has no text of its own (a step that uses it carries a `text`)."""
        method = getattr(self, f"_{type(node).__name__.lower()}", None)
        return None if method is None else method(node)

    def _all(self, *parts: Any) -> Node | None:
        return None if any(one is None for one in parts) else list(parts)

    def _constant(self, node: ast.Constant) -> Node:
        return str(node.value)

    def _name(self, node: ast.Name) -> Node | None:
        if node.id in self.names:
            return ["name", node.id]
        return ["word", str(self.constants[node.id])] if node.id in self.constants else None

    def _unaryop(self, node: ast.UnaryOp) -> Node | None:
        return self._all("not" if isinstance(node.op, ast.Not) else "neg", self.node(node.operand))

    def _binop(self, node: ast.BinOp) -> Node | None:
        if isinstance(node.op, ast.Pow):
            whole = isinstance(node.right, ast.Constant) and isinstance(node.right.value, int)
            raised = str(node.right.value).translate(_SUPERSCRIPT) if whole else ""  # type: ignore[attr-defined]
            return self._all("power", self.node(node.left), raised or self.node(node.right), bool(raised))
        if type(node.op) not in _BINARY:
            return None
        sign, level = _BINARY[type(node.op)]
        tighter = isinstance(node.op, ast.Div | ast.Sub)
        return self._all("binary", sign, level, tighter, self.node(node.left), self.node(node.right))

    def _call(self, node: ast.Call) -> Node | None:
        name = node.func.id if isinstance(node.func, ast.Name) else ast.unparse(node.func)
        if name == "nominal":
            return self.node(node.args[0])
        parts = [self.node(one) for one in node.args]
        if name == "absolute":
            return self._all("size", *parts)
        if name == "where":
            return self._all("choice", *parts)
        return self._all("call", _CALLS.get(name, name), *parts)

    def _ifexp(self, node: ast.IfExp) -> Node | None:
        return self._all("choice", self.node(node.test), self.node(node.body), self.node(node.orelse))

    def _compare(self, node: ast.Compare) -> Node | None:
        signs = [_COMPARE.get(type(sign)) for sign in node.ops]
        pairs = [part for pair in zip(signs, map(self.node, node.comparators), strict=True) for part in pair]
        return self._all("compare", self.node(node.left), *pairs)

    def _boolop(self, node: ast.BoolOp) -> Node | None:
        word = " and " if isinstance(node.op, ast.And) else " or "
        return self._all("logic", word, *(self.node(one) for one in node.values))

    def _listcomp(self, node: ast.ListComp) -> Node | None:
        loop = node.generators[0]
        iterated = self.node(loop.iter)
        inner = _Tree(self.source)
        inner.names = self.names | {ast.unparse(loop.target)}
        return self._all("each", ast.unparse(loop.target), iterated, inner.node(node.elt))

    def _list(self, node: ast.List) -> Node | None:
        return self._all("list", *(self.node(one) for one in node.elts))
