"""Engineering calculations for stationary power systems, each defined once, with its working, sources and verdict.

`run(name, inputs)` calculates, `get(name)` gives the definition, `names()` lists them, `bulk(name, columns)` does the
same for millions of readings. Nothing is loaded before it is called for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from calcs.errors import InputError, UnknownCalculation

__all__ = ["InputError", "UnknownCalculation", "bulk", "editions", "get", "names", "run"]

_FROM = {
    "run": "calcs.engine", "Result": "calcs.engine", "get": "calcs.catalogue", "names": "calcs.catalogue",
    "editions": "calcs.catalogue", "Definition": "calcs.definition", "bulk": "calcs.columns",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _FROM:
        raise AttributeError(f"module 'calcs' has no attribute '{name}'")
    value = globals()[name] = getattr(import_module(_FROM[name]), name)
    return value
