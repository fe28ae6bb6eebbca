"""The catalogue finds its own modules: every module of this package is imported once and enters what it defines."""

from __future__ import annotations

import difflib
from functools import lru_cache
from importlib import import_module
from pathlib import Path

from calcs.definition import REGISTRY, Definition
from calcs.errors import UnknownCalculation

_LEFT_OUT = frozenset(
    {"__init__", "__main__", "columns", "log_columns", "log_layout", "log_times", "logger_files", "log_analysis"}
)
"""Modules that define no calculation and cost time: a single reading does without numpy and without log files."""


@lru_cache(maxsize=1)
def _load() -> None:
    folder = Path(__file__).parent
    for path in sorted(folder.glob("*.py")):
        if path.stem not in _LEFT_OUT:
            import_module(f"{__package__}.{path.stem}")


def names() -> tuple[str, ...]:
    """Names of all calculations, in alphabetical order."""
    _load()
    return tuple(sorted({name for name, _ in REGISTRY}))


def editions(name: str) -> tuple[str, ...]:
    """Editions of a calculation, oldest first."""
    _load()
    return tuple(sorted((edition for one, edition in REGISTRY if one == name), key=int))


def get(name: str, edition: str | None = None) -> Definition:
    """The definition of a calculation: the newest edition, or the one asked for."""
    found = editions(name)
    if not found:
        near = difflib.get_close_matches(name, names(), n=3)
        hint = f"; did you mean {' or '.join(near)}?" if near else "; `python -m calcs list` names them all"
        raise UnknownCalculation(f"there is no calculation '{name}'{hint}")
    wanted = found[-1] if edition is None else str(edition)
    if wanted not in found:
        raise UnknownCalculation(f"{name} has no edition {wanted}; it has {', '.join(found)}")
    return REGISTRY[name, wanted]
