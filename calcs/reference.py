"""Reference data: limits, defaults and tables, each with its source, edition and kind, read from `calcs/data/*.toml`.

Kind `published` was seen in print; kind `memory` is a typical value recalled from a standard that has to be bought, and
every place that shows it says so; kind `practice` is common practice without a source.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from calcs.errors import InputError
from calcs.figures import plain
from calcs.maths import _is_array
from calcs.uncertainty import nominal

DATA = Path(__file__).parent / "data"
KIND_WORDS = {"published": "", "memory": " - typical value, verify", "practice": " - common practice, no source"}


@lru_cache(maxsize=64)
def load(module: str) -> Mapping[str, Any]:
    """The data file of a module of the catalogue; empty when it has none."""
    path = DATA / f"{module}.toml"
    data = tomllib.loads(path.read_text("utf-8")) if path.exists() else {}
    for name, table in data.get("tables", {}).items():
        if "same_as" in table:  # a table that another module's data file holds
            data["tables"][name] = load(table["same_as"])["tables"][name]
    return data


def source_words(entry: Mapping[str, Any]) -> str:
    """A source as it is printed: title, edition, and what kind of source it is."""
    title = ", ".join(str(entry[key]) for key in ("source", "edition", "clause") if entry.get(key))
    return title + KIND_WORDS[entry.get("kind", "published")]


def look_up(
    table: Mapping[str, Any], keys: Sequence[Any], *, name: str, method: str = "exact", column: str = ""
) -> Any:
    """Value of a table for `keys`: words choose the branch, a number at the end is looked up along a list of pairs.

    `method` is exact (the number stands in the table), linear (between neighbours) or band (the first edge that is not
    below the number). A number outside the table is refused, never extrapolated.
    """
    branch: Any = table["values"]
    for key in keys:
        if isinstance(branch, list):
            return _along(branch, key, name, method)
        if str(key) not in branch:
            raise InputError(f"{name}: the table '{source_words(table)}' has no entry for {key}", input=name)
        branch = branch[str(key)]
    return branch[column] if column else branch


def _along(pairs: list[list[float]], x: Any, name: str, method: str) -> Any:
    if _is_array(x):
        return _along_array(pairs, x, method)
    at = nominal(x)
    for index, (edge, value) in enumerate(pairs):
        if abs(edge - at) <= 1e-9 * max(abs(edge), abs(at)):
            return value if method != "linear" or len(pairs) == 1 else _between(pairs, index, x)
        if at < edge and method == "band":
            return value
        if at < edge and method == "linear":
            if index == 0:
                break  # below the first edge: refused, never extrapolated
            return _between(pairs, index, x)
    raise InputError(f"{name}: {plain(float(at))} is not in the table; {_range(pairs, method)}", input=name)


def _between(pairs: list[list[float]], index: int, x: Any) -> Any:
    (x0, y0), (x1, y1) = pairs[max(index - 1, 0)], pairs[max(index, 1)]
    return y0 + (x - x0) * ((y1 - y0) / (x1 - x0))


def _range(pairs: list[list[float]], method: str) -> str:
    if not pairs:
        return "it is empty"
    if method == "exact":
        return "it holds " + ", ".join(plain(edge) for edge, _ in pairs)
    return f"it reaches from {plain(pairs[0][0])} to {plain(pairs[-1][0])}"


def _along_array(pairs: list[list[float]], x: Any, method: str) -> Any:
    import numpy

    edges, values = numpy.array(pairs, float).T
    if method == "linear":
        return numpy.interp(x, edges, values, left=numpy.nan, right=numpy.nan)
    index = numpy.minimum(numpy.searchsorted(edges, x * (1 - 1e-12)), len(edges) - 1)
    fits = x <= edges[-1] if method == "band" else numpy.isclose(edges[index], x, rtol=1e-9, atol=0)
    return numpy.where(fits, values[index], numpy.nan)
