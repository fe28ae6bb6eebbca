"""Expressions of a formula, from Python to JavaScript: one short method for each kind of node."""

from __future__ import annotations

import ast
import builtins
import dataclasses
import inspect
import json
import math
import types
from collections.abc import Callable
from typing import Any, Protocol

from calcs.definition import Input
from calcs.errors import InputError
from calcs.javascript import subset
from calcs.javascript.subset import Source


class Program(Protocol):
    """What collects the functions that a formula calls."""

    def function(self, function: Callable[..., Any]) -> str: ...


class Expressions:
    """Writes the expressions of one function. `local` holds the names that are arguments or assigned in it."""

    def __init__(self, source: Source, program: Program) -> None:
        self.source = source
        self.program = program
        self.local: set[str] = set()
        closed = inspect.getclosurevars(source.function).nonlocals
        self.known: dict[str, Any] = {**vars(builtins), **source.function.__globals__, **closed}

    # values

    def value(self, node: ast.expr) -> str:
        """A Python expression as JavaScript."""
        method = getattr(self, f"_{type(node).__name__.lower()}", None)
        if method is None:
            raise self.outside(node, f"`{ast.unparse(node)}` ({type(node).__name__})")
        return str(method(node))

    def outside(self, node: ast.AST, what: str) -> subset.OutsideTheSubset:
        return self.source.outside(node, what)

    def _constant(self, node: ast.Constant) -> str:
        text = subset.literal(node.value)
        if text is None:
            raise self.outside(node, f"the constant {node.value!r}")
        return text

    def _name(self, node: ast.Name) -> str:
        if node.id in self.local:
            return subset.name(node.id)
        return self._outer(node, self._resolved(node))

    def _outer(self, node: ast.expr, value: Any) -> str:
        """Something that stands outside the function: a constant, a function, or the description of an input."""
        if isinstance(value, Input):
            return json.dumps(
                {key: getattr(value, key) for key in ("name", "unit", "lower", "upper")}, ensure_ascii=False
            )
        text = subset.literal(value)
        if text is not None:
            return text
        if isinstance(value, types.FunctionType):
            return self._callable(node, value)
        raise self.outside(node, f"`{ast.unparse(node)}`")

    def _resolved(self, node: ast.expr) -> Any:
        """What a global name, or an attribute of a module, stands for."""
        if isinstance(node, ast.Attribute):
            owner = self._resolved(node.value)
            if isinstance(owner, types.ModuleType) and hasattr(owner, node.attr):
                return getattr(owner, node.attr)
        if isinstance(node, ast.Name) and node.id not in self.local and node.id in self.known:
            return self.known[node.id]
        raise self.outside(node, f"`{ast.unparse(node)}`")

    def _attribute(self, node: ast.Attribute) -> str:
        if isinstance(node.value, ast.Name) and node.value.id in self.local:
            if node.attr not in subset.FIELDS:
                raise self.outside(node, f"the attribute `{ast.unparse(node)}`")
            return f"{self.value(node.value)}.{node.attr}"
        return self._outer(node, self._resolved(node))

    def _binop(self, node: ast.BinOp) -> str:
        function = subset.BINARY.get(type(node.op))
        if function is None:
            raise self.outside(node, f"the operator of `{ast.unparse(node)}`")
        return f"{function}({self.value(node.left)}, {self.value(node.right)})"

    def _unaryop(self, node: ast.UnaryOp) -> str:
        if isinstance(node.op, ast.Not):
            return f"!{self.condition(node.operand)}"
        if isinstance(node.op, ast.USub):
            if isinstance(node.operand, ast.Constant):
                return f"-{self.value(node.operand)}"
            return f"$neg({self.value(node.operand)})"
        raise self.outside(node, f"the operator of `{ast.unparse(node)}`")

    def _compare(self, node: ast.Compare) -> str:
        sides = [node.left, *node.comparators]
        if any(not isinstance(one, ast.Name | ast.Constant) for one in sides[1:-1]):
            raise self.outside(node, "a chain of comparisons with more than a name in the middle")
        pairs = zip(sides, node.ops, sides[1:], strict=False)
        return self._joined([self._one_compare(node, *pair) for pair in pairs], " && ")

    def _one_compare(self, node: ast.Compare, left: ast.expr, sign: ast.cmpop, right: ast.expr) -> str:
        if isinstance(sign, ast.Is | ast.IsNot):
            if not (isinstance(right, ast.Constant) and right.value is None):
                raise self.outside(node, f"`{ast.unparse(node)}`; only `is None` is understood")
            return f"({self.value(left)} {'===' if isinstance(sign, ast.Is) else '!=='} null)"
        return f"{subset.COMPARE[type(sign)]}({self.value(left)}, {self.value(right)})"

    def _joined(self, parts: list[str], mark: str) -> str:
        return parts[0] if len(parts) == 1 else f"({mark.join(parts)})"

    def _boolop(self, node: ast.BoolOp) -> str:
        """`and` and `or` give one of their values, as in Python."""
        if all(self._is_truth(one) for one in node.values[:-1]):
            return self._joined([self.value(one) for one in node.values], self._logic(node))
        if len(node.values) > 2 or not isinstance(node.values[0], ast.Name):
            raise self.outside(node, f"`{ast.unparse(node)}`; a value before and/or has to be a name")
        first, second = (self.value(one) for one in node.values)
        chosen = (second, first) if isinstance(node.op, ast.And) else (first, second)
        return f"($true({first}) ? {chosen[0]} : {chosen[1]})"

    def _logic(self, node: ast.BoolOp) -> str:
        return " && " if isinstance(node.op, ast.And) else " || "

    def _ifexp(self, node: ast.IfExp) -> str:
        answer = self.settled(node.test)
        if answer is not None:
            return self.value(node.body if answer else node.orelse)
        return f"({self.condition(node.test)} ? {self.value(node.body)} : {self.value(node.orelse)})"

    # truths

    def condition(self, node: ast.expr) -> str:
        """A Python expression as a JavaScript truth."""
        if isinstance(node, ast.BoolOp):
            return self._joined([self.condition(one) for one in node.values], self._logic(node))
        text = self.value(node)
        return text if self._is_truth(node) else f"$true({text})"

    def _is_truth(self, node: ast.expr) -> bool:
        if isinstance(node, ast.BoolOp):
            return all(self._is_truth(one) for one in node.values)
        if isinstance(node, ast.BinOp):
            return isinstance(node.op, ast.BitAnd | ast.BitOr)
        return isinstance(node, ast.Compare) or (isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not))

    def settled(self, node: ast.expr) -> bool | None:
        """The answer to a question about arrays, which the phone never has; None for any other question."""
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
            return None
        asked = node.args[1].value if len(node.args) == 2 and isinstance(node.args[1], ast.Constant) else None
        if node.func.id == "_is_array" or (node.func.id == "hasattr" and asked in ("shape", "dtype")):
            return False
        return None

    # collections

    def _list(self, node: ast.List) -> str:
        parts = (f"...{self.value(e.value)}" if isinstance(e, ast.Starred) else self.value(e) for e in node.elts)
        return f"[{', '.join(parts)}]"

    def _tuple(self, node: ast.Tuple) -> str:
        return f"[{', '.join(self.value(one) for one in node.elts)}]"

    def _dict(self, node: ast.Dict) -> str:
        if any(not (isinstance(key, ast.Constant) and isinstance(key.value, str)) for key in node.keys):
            raise self.outside(node, "a dictionary with keys that are no constant words")
        pairs = zip(node.keys, node.values, strict=True)
        return f"{{{', '.join(f'{self.value(key)}: {self.value(one)}' for key, one in pairs if key)}}}"

    def _subscript(self, node: ast.Subscript) -> str:
        if isinstance(node.slice, ast.Slice):
            if node.slice.step is not None:
                raise self.outside(node, "a slice with a step")
            ends = (self.value(one) if one else "null" for one in (node.slice.lower, node.slice.upper))
            return f"$slice({self.value(node.value)}, {', '.join(ends)})"
        return f"$at({self.value(node.value)}, {self.value(node.slice)})"

    def _listcomp(self, node: ast.ListComp | ast.GeneratorExp) -> str:
        text, before = "", set(self.local)
        for place, loop in enumerate(node.generators):
            over = self.value(loop.iter)
            target = self.target(loop.target)
            chain = f"$list({over})"
            for test in loop.ifs:
                chain += f".filter(({target}) => {self.condition(test)})"
            last = place == len(node.generators) - 1
            text += f"{chain}.{'map' if last else 'flatMap'}(({target}) => "
        text += f"({self.value(node.elt)})" + ")" * len(node.generators)
        self.local = before
        return text

    _generatorexp = _listcomp

    def target(self, node: ast.expr) -> str:
        """The left side of an assignment or loop: a name, or names taken out of a list."""
        if isinstance(node, ast.Name):
            self.local.add(node.id)
            return subset.name(node.id)
        if isinstance(node, ast.Tuple):
            return f"[{', '.join(self.target(one) for one in node.elts)}]"
        raise self.outside(node, f"`{ast.unparse(node)}` on the left of an assignment")

    def _lambda(self, node: ast.Lambda) -> str:
        before = set(self.local)
        names = [one.arg for one in node.args.args]
        self.local |= set(names)
        text = f"({', '.join(map(subset.name, names))}) => {self.value(node.body)}"
        self.local = before
        return text

    def _joinedstr(self, node: ast.JoinedStr) -> str:
        parts = [self.value(one) for one in node.values]
        return f"({' + '.join(parts)})" if parts else '""'

    def _formattedvalue(self, node: ast.FormattedValue) -> str:
        if node.conversion != -1 or node.format_spec is not None:
            raise self.outside(node, "a format in an f-string; use show() or plain()")
        return f"$str({self.value(node.value)})"

    # calls

    def _call(self, node: ast.Call) -> str:
        answer = self.settled(node)
        if answer is not None:
            return "true" if answer else "false"
        if isinstance(node.func, ast.Attribute) and not self._is_outer(node.func):
            return self._method(node, node.func)
        called = self._resolved(node.func)
        if called is getattr or called is isinstance:
            return self._asking(node, called)
        if called is InputError:
            return f"new InputError({', '.join(self._bound(node, called))})"
        if isinstance(called, type) and dataclasses.is_dataclass(called):
            fields = (one.name for one in dataclasses.fields(called))
            given = zip(fields, self._bound(node, called), strict=True)
            return f"{{{', '.join(f'{one}: {text}' for one, text in given)}}}"
        word = str(getattr(called, "__name__", ""))
        if getattr(builtins, word, None) is called:
            return self._builtin(node, word)
        return f"{self._callable(node, called)}({', '.join(self._bound(node, called))})"

    def _is_outer(self, node: ast.Attribute) -> bool:
        owner = node.value
        return isinstance(owner, ast.Name) and owner.id not in self.local and isinstance(
            self.known.get(owner.id), types.ModuleType
        )  # fmt: skip

    def _callable(self, node: ast.expr, called: Any) -> str:
        """The JavaScript name of a function."""
        hand = subset.by_hand(called)
        if hand:
            return hand
        word = str(getattr(called, "__name__", ""))
        if word in subset.MATH and getattr(math, word) is called:
            return subset.MATH[word]
        if isinstance(called, types.FunctionType) and called.__module__.startswith("calcs."):
            return self.program.function(called)
        raise self.outside(node, f"`{ast.unparse(node)}`")

    def _bound(self, node: ast.Call, called: Any) -> list[str]:
        """Arguments in the order of the signature, what is left out filled in from its default."""
        if any(isinstance(one, ast.Starred) for one in node.args) or any(one.arg is None for one in node.keywords):
            raise self.outside(node, f"`{ast.unparse(node)}` with unpacked arguments")
        named: dict[str, ast.expr] = {str(one.arg): one.value for one in node.keywords}
        if getattr(called, "__module__", "") in ("math", "calcs.maths"):  # maximum(a, b, c) takes any number
            return [self.value(one) for one in node.args]
        try:
            signature = inspect.signature(called)
            given = signature.bind(*node.args, **named).arguments
        except (TypeError, ValueError) as error:
            raise self.outside(node, f"`{ast.unparse(node)}` ({error})") from None
        texts = (
            self.value(given[one.name]) if one.name in given else subset.literal(one.default)
            for one in signature.parameters.values()
        )
        return [self._given(node, text) for text in texts]

    def _given(self, node: ast.Call, text: str | None) -> str:
        if text is None:
            raise self.outside(node, f"`{ast.unparse(node)}` with a default that is no plain value")
        return text

    def _builtin(self, node: ast.Call, called: str) -> str:
        if called not in subset.BUILTINS:
            raise self.outside(node, f"`{called}(…)`")
        keys = [one for one in node.keywords if one.arg == "key"]
        allowed = {"zip": {"strict"}, "sorted": {"key"}, "max": {"key"}, "min": {"key"}}.get(called, set())
        if {one.arg for one in node.keywords} - allowed:
            raise self.outside(node, f"`{ast.unparse(node)}`")
        parts = [self.value(one) for one in node.args]
        if called in ("max", "min"):
            parts = [parts[0] if len(parts) == 1 else f"[{', '.join(parts)}]"]
        return f"{subset.BUILTINS[called]}({', '.join([*parts, *(self.value(one.value) for one in keys)])})"

    def _asking(self, node: ast.Call, called: Any) -> str:
        """`getattr(x, "nominal_value", x)` and `isinstance(x, list)`."""
        if called is getattr and len(node.args) == 3 and ast.unparse(node.args[1]) == "'nominal_value'":
            return f"$nominal({self.value(node.args[0])})"
        if called is isinstance and ast.unparse(node.args[1]) in ("list", "tuple", "list | tuple"):
            return f"Array.isArray({self.value(node.args[0])})"
        raise self.outside(node, f"`{ast.unparse(node)}`")

    def _method(self, node: ast.Call, called: ast.Attribute) -> str:
        if node.keywords or len(node.args) != 1:
            raise self.outside(node, f"`{ast.unparse(node)}`")
        owner, argument = self.value(called.value), self.value(node.args[0])
        if called.attr == "index":
            return f"$index({owner}, {argument})"
        if called.attr == "append":
            return f"{owner}.push({argument})"
        if called.attr == "join" and isinstance(called.value, ast.Constant):
            return f"$list({argument}).join({owner})"
        raise self.outside(node, f"`{ast.unparse(node)}`")
