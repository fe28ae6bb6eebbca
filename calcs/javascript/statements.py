"""Whole functions, from Python to JavaScript: their statements, and the functions that they call."""

from __future__ import annotations

import ast
from collections.abc import Callable
from typing import Any

from calcs.definition import arguments
from calcs.javascript import subset
from calcs.javascript.expressions import Expressions


class Functions:
    """Collects functions, each written once, after those that it calls."""

    def __init__(self) -> None:
        self.names: dict[Callable[..., Any], str] = {}
        self.texts: list[str] = []

    def function(self, function: Callable[..., Any]) -> str:
        """The JavaScript name of a function; its text is added when it is met for the first time."""
        if function not in self.names:
            base = f"f_{function.__name__.lstrip('_')}"
            taken = sum(1 for one in self.names.values() if one == base or one.startswith(f"{base}$"))
            self.names[function] = f"{base}${taken}" if taken else base
            self.texts.append(_Function(subset.source_of(function), self).text(self.names[function]))
        return self.names[function]


class _Function(Expressions):
    def text(self, name: str) -> str:
        tree, given = self.source.tree, arguments(self.source.function)
        self.local |= set(given)
        body = [one for one in tree.body if not _is_docstring(one)]
        if len(body) == 1 and isinstance(body[0], ast.Return) and body[0].value is not None:
            inner = self.value(body[0].value)
            return f"const {name} = ({', '.join(map(subset.name, given))}) => {_as_result(inner)};"
        kept = _assigned(body) - set(given)
        lines = self._block(body, 1)
        declared = [f"  let {', '.join(sorted(map(subset.name, kept)))};"] if kept else []
        head = f"function {name}({', '.join(map(subset.name, given))}) {{"
        return "\n".join([head, *declared, *lines, "  return null;", "}"])

    def _block(self, body: list[ast.stmt], depth: int) -> list[str]:
        """Statements, in order; names that are assigned anywhere in the function are known to be its own."""
        self.local |= _assigned(body)
        lines: list[str] = []
        for one in body:
            method = getattr(self, f"_do_{type(one).__name__.lower()}", None)
            if method is None:
                raise self.outside(one, f"`{ast.unparse(one).splitlines()[0]}` ({type(one).__name__})")
            lines += ["  " * depth + line for line in method(one)]
        return lines

    def _inner(self, body: list[ast.stmt]) -> list[str]:
        return self._block(body, 1)

    def _do_return(self, node: ast.Return) -> list[str]:
        return [f"return {self.value(node.value) if node.value else 'null'};"]

    def _do_assign(self, node: ast.Assign) -> list[str]:
        if len(node.targets) != 1:
            raise self.outside(node, "an assignment to several names at once")
        value = self.value(node.value)
        left = self.target(node.targets[0])
        return [f"({left} = {value});" if left.startswith("[") else f"{left} = {value};"]

    def _do_annassign(self, node: ast.AnnAssign) -> list[str]:
        if node.value is None:
            return []
        return [f"{self.target(node.target)} = {self.value(node.value)};"]

    def _do_augassign(self, node: ast.AugAssign) -> list[str]:
        if not isinstance(node.target, ast.Name):
            raise self.outside(node, f"`{ast.unparse(node)}`")
        both = ast.BinOp(ast.Name(node.target.id), node.op, node.value)
        return [f"{self.target(node.target)} = {self.value(ast.copy_location(both, node))};"]

    def _do_expr(self, node: ast.Expr) -> list[str]:
        if _is_docstring(node):
            return []
        if isinstance(node.value, ast.Call):
            return [f"{self.value(node.value)};"]
        raise self.outside(node, f"`{ast.unparse(node)}` without using what it gives")

    def _do_if(self, node: ast.If) -> list[str]:
        answer = self.settled(node.test)
        if answer is not None:
            return [line.removeprefix("  ") for line in self._inner(node.body if answer else node.orelse)]
        lines = [f"if ({self.condition(node.test)}) {{", *self._inner(node.body)]
        if node.orelse:
            lines += ["} else {", *self._inner(node.orelse)]
        return [*lines, "}"]

    def _do_for(self, node: ast.For) -> list[str]:
        if node.orelse:
            raise self.outside(node, "`else` after a loop")
        over = self.value(node.iter)
        return [f"for ({self.target(node.target)} of $list({over})) {{", *self._inner(node.body), "}"]

    def _do_break(self, node: ast.Break) -> list[str]:
        return ["break;"]

    def _do_continue(self, node: ast.Continue) -> list[str]:
        return ["continue;"]

    def _do_pass(self, node: ast.Pass) -> list[str]:
        return []

    def _do_raise(self, node: ast.Raise) -> list[str]:
        if node.exc is None or not isinstance(node.exc, ast.Call | ast.Name):
            raise self.outside(node, f"`{ast.unparse(node)}`")
        return [f"throw {self.value(node.exc)};"]

    def _do_try(self, node: ast.Try) -> list[str]:
        handler = node.handlers[0] if len(node.handlers) == 1 else None
        if handler is None or node.finalbody or ast.unparse(handler.type or ast.Constant(None)) != "InputError":
            raise self.outside(node, "`try` with anything but one `except InputError`")
        caught = subset.name(handler.name) if handler.name else "wrong_"
        flag = f"went_{node.lineno}"  # `else` runs when the body did not refuse
        lines = [f"let {flag} = true;", "try {", *self._inner(node.body), f"}} catch ({caught}) {{"]
        self.local |= {handler.name} if handler.name else set()
        lines += [f"  if (!({caught} instanceof InputError)) throw {caught};", f"  {flag} = false;"]
        lines += [*self._inner(handler.body), "}"]
        if node.orelse:
            lines += [f"if ({flag}) {{", *self._inner(node.orelse), "}"]
        return lines


def _as_result(text: str) -> str:
    return f"({text})" if text.startswith("{") else text


def _is_docstring(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


def _assigned(body: list[ast.stmt]) -> set[str]:
    """Names that statements assign, without those of comprehensions, which are their own."""
    found: set[str] = set()
    for statement in body:
        for node in _outside_comprehensions(statement):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                found.add(node.id)
    return found


def _outside_comprehensions(node: ast.AST) -> list[ast.AST]:
    if isinstance(node, ast.ListComp | ast.GeneratorExp | ast.Lambda | ast.DictComp | ast.SetComp):
        return []
    return [node, *(inner for child in ast.iter_child_nodes(node) for inner in _outside_comprehensions(child))]
