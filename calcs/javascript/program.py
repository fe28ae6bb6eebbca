"""The whole module that the phone loads: the hand-written runtime, the formulas, and the catalogue."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from calcs import catalogue, decision, instruments, reference, typeset, uncertainty, unit_table
from calcs.definition import Definition
from calcs.javascript.definitions import Definitions
from calcs.javascript.statements import Functions
from calcs.verdicts import INDEPENDENT

RUNTIME = Path(__file__).parent / "runtime"

#: Before the formulas, and after them; each file names at its top what it takes from the others.
BEFORE = ("numbers", "figures", "units", "text", "python")
AFTER = ("intake", "sheet", "verdicts", "engine", "typeset", "reading", "verify")

LEFT_OUT = {
    "discharge_log": "It needs the recording of the test, which the server reads",
}
"""Calculations that the phone does not make, each with the reason that the phone gives."""


def chosen() -> Iterable[Definition]:
    """Every edition of every calculation that is not left out."""
    for name in catalogue.names():
        if name not in LEFT_OUT:
            yield from (catalogue.get(name, edition) for edition in catalogue.editions(name))


@lru_cache(maxsize=1)
def build() -> str:
    """The text of the JavaScript module. Raises OutsideTheSubset, naming file and line, where a formula has none."""
    return module_of(tuple(chosen()))


def module_of(definitions: Iterable[Definition]) -> str:
    """A module for these calculations."""
    functions = Functions()
    for one in (decision.decide, reference.look_up, instruments.expanded_uncertainty):
        functions.function(one)
    written = Definitions(functions)
    entries = [f"[{json.dumps(f'{one.name}@{one.edition}')},{written.definition(one)}]" for one in definitions]
    parts = [
        *(_runtime(name) for name in BEFORE),
        *functions.texts,
        "const F = {}, T = {};",
        *written.texts,
        f"const DEFINITIONS = new Map([{','.join(entries)}]);",
        *(_runtime(name) for name in AFTER),
    ]
    return "\n".join(["// Made from the calculations in calcs/: never edit this by hand.", *parts]) + "\n"


def _runtime(name: str) -> str:
    """A file of the runtime without its comments; facts of the Python side are put in where it asks for them."""
    text = (RUNTIME / f"{name}.js").read_text("utf-8")
    text = re.sub(r"^\s*/\*\*.*?\*/\n", "", text, flags=re.S | re.M)
    text = re.sub(r"^\s*//.*\n", "", text, flags=re.M)
    return re.sub(r"\n{2,}", "\n", re.sub(r"PYTHON\.(\w+)", lambda found: _facts()[found[1]], text)).strip()


@lru_cache(maxsize=1)
def _facts() -> dict[str, str]:
    """What the runtime takes from the Python side as data."""
    kinds = {",".join(map(str, dimension)): words for dimension, words in unit_table.KINDS.items()}
    facts = {
        "units": unit_table._TABLE,
        "prefixes": unit_table._PREFIXES,
        "bare_prefixes": unit_table.BARE_PREFIXES,
        "kinds": kinds,
        "lookalikes": unit_table._LOOKALIKES,
        "spaces": unit_table._SPACES,
        "powers": list(unit_table._POWER.items()),  # in this order: ^2 before 2
        "worst_first": decision.WORST_FIRST,
        "independent": INDEPENDENT,
        "left_out": LEFT_OUT,
        "rounding": uncertainty.ROUNDING,
        "functions": sorted(typeset._FUNCTIONS),
        "math_units": sorted(typeset._UNITS),
        "prose": typeset._PROSE.pattern,
    }
    return {name: json.dumps(fact, ensure_ascii=False, separators=(",", ":")) for name, fact in facts.items()}
