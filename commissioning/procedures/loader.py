"""The bundled procedures: `bundled()`, `load()`, and `differences()` between two versions.

A procedure is one TOML file `<key>@<version>.toml` in `data/`; parts that several share stand beside it as
`part_<name>@<version>.toml` and are drawn in by `include` (see `reading`). An issued file is never edited: a change is
a new version, which says in `changes` what it changes and why, and line keys keep their meaning across versions.

Nameplate data a line may draw on is the fixed list `NAMEPLATE_KEYS` of `nameplate` (key, unit, words, plausible range),
which the register import reads too; `of` is `system` or one of the equipment kinds of `terms`.

Pure: standard library only, no database, no framework.
"""

from functools import cache
from pathlib import Path

from .checking import checked
from .comparison import LineDifference, differences
from .nameplate import NAMEPLATE_KEYS, NameplateKey
from .reading import Problem, read
from .structures import InputSource, LimitData, LineData, ProcedureData

__all__ = [
    "NAMEPLATE_KEYS",
    "InputSource",
    "LimitData",
    "LineData",
    "LineDifference",
    "NameplateKey",
    "Problem",
    "ProcedureData",
    "ProcedureError",
    "bundled",
    "differences",
    "load",
    "read_folder",
]

DATA = Path(__file__).with_name("data")
PART = "part_"


class ProcedureError(ValueError):
    """Procedure files that cannot be used; `problems` names every file, line and field."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = tuple(dict.fromkeys(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))


def bundled() -> tuple[ProcedureData, ...]:
    """Every bundled procedure in every version, by key and version."""
    return _bundled()


def load(key: str, version: int | None = None) -> ProcedureData:
    """One bundled procedure: the version asked for, or the newest. LookupError if there is none."""
    versions = {procedure.version: procedure for procedure in _bundled() if procedure.key == key}
    if not versions:
        known = sorted({procedure.key for procedure in _bundled()})
        raise LookupError(f"no bundled procedure '{key}'; there are {', '.join(known)}")
    if version is None:
        return versions[max(versions)]
    if version not in versions:
        raise LookupError(f"'{key}' has no version {version}; there are {', '.join(map(str, sorted(versions)))}")
    return versions[version]


def read_folder(folder: Path) -> tuple[ProcedureData, ...]:
    """Read and check every procedure file of a folder; ProcedureError with all that is wrong in any of them."""
    problems: list[Problem] = []
    procedures: list[ProcedureData] = []
    for path in sorted(folder.glob("*.toml")):
        if path.name.startswith(PART):
            continue
        procedure, found = checked(read(path))
        problems += found
        if procedure is not None:
            procedures.append(procedure)
    if problems:
        raise ProcedureError(problems)
    return tuple(sorted(procedures, key=lambda procedure: (procedure.key, procedure.version)))


@cache
def _bundled() -> tuple[ProcedureData, ...]:
    return read_folder(DATA)
