"""The bundled procedures, and looking for lines in them by what they say."""

import re

from commissioning.procedures.loader import LineData, ProcedureData, bundled

ALL = bundled()
POWER = ("dc_power_vented", "dc_power_vrla", "dc_power_nicd")
WITH_BATTERY = (*POWER, "ups")
BOARDS = ("dc_board", "lv_board")


def named(procedures: tuple[ProcedureData, ...]) -> list[str]:
    return [f"{procedure.key}@{procedure.version}" for procedure in procedures]


def all_words(line: LineData) -> str:
    return " ".join((line.title, line.how, line.accept, line.caution))


def place_of(procedure: ProcedureData, key: str) -> int:
    return procedure.lines.index(procedure.line(key))


def first_with(procedure: ProcedureData, *words: str, stage: str = "") -> int:
    """Where the first line stands whose title has all these words."""
    for index, line in enumerate(procedure.lines):
        if all(word in line.title.lower() for word in words) and (not stage or line.stage == stage):
            return index
    raise AssertionError(f"{procedure.key}@{procedure.version} has no line about {words}")


def mentions(procedure: ProcedureData, *patterns: str) -> None:
    text = " ".join(all_words(line) for line in procedure.lines)
    missing = [pattern for pattern in patterns if not re.search(pattern, text, re.IGNORECASE)]
    assert not missing, f"{procedure.key}@{procedure.version} says nothing of {missing}"


def calculations_of(procedure: ProcedureData) -> set[str]:
    return {line.calculation for line in procedure.lines if line.calculation}
