"""What a line or a calculation asks a person to type, and what the register or the procedure brings by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import calcs
from commissioning.models import CheckLine
from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.services.reading_inputs import nameplate_value

#: Units that a key offers beside the one that the line asks for.
UNIT_KEYS = {
    "V": ("mV", "V", "kV"),
    "A": ("mA", "A", "kA"),
    "mA": ("mA", "A"),
    "Ω": ("mΩ", "Ω", "kΩ", "MΩ"),
    "kΩ": ("Ω", "kΩ", "MΩ"),
    "MΩ": ("kΩ", "MΩ", "GΩ"),
    "mΩ": ("µΩ", "mΩ", "Ω"),
    "µΩ": ("µΩ", "mΩ"),
    "s": ("ms", "s"),
    "ms": ("ms", "s"),
    "min": ("s", "min", "h"),
    "h": ("min", "h"),
    "m": ("mm", "m"),
}
#: Quantities that a meter may show below zero; a phone's number keys often have no minus sign.
SIGNED = frozenset({"°C", "K", "V", "A", "V/°C"})


@dataclass(frozen=True, slots=True)
class Asked:
    """One value that has to be typed."""

    name: str
    label: str
    unit: str
    many: bool = False
    choices: tuple[str, ...] = ()
    optional: bool = False
    measured: bool = True
    help: str = ""
    previous: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """Units that can be put behind the number by a key."""
        return UNIT_KEYS.get(self.unit, ())

    @property
    def signed(self) -> bool:
        return self.unit in SIGNED


@dataclass(frozen=True, slots=True)
class Known:
    """A value that the register or the procedure brings."""

    label: str
    value: str
    unit: str
    origin: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """All inputs of a line or calculation."""

    asked: tuple[Asked, ...]
    known: tuple[Known, ...] = ()
    recording: bool = False  # the numbers come from a test recording

    @property
    def units(self) -> tuple[str, ...]:
        """Units of measured values, each once: an instrument is chosen for each."""
        return tuple(dict.fromkeys(one.unit for one in self.asked if one.measured and one.unit))


def wanted_by(line: CheckLine, *, previous: Mapping[str, str] | None = None) -> Wanted:
    """What the line's inputs come to: asked, known, or taken from a recording."""
    asked: list[Asked] = []
    known: list[Known] = []
    recording = any(spec.get("kind") == "recording" for spec in line.inputs.values())
    for one, spec in _specs(line):
        found = _known(line, one, spec)
        if found:
            known.append(found)
        elif spec.get("kind") != "recording":
            asked.append(_asked(one, spec, (previous or {}).get(_name(one, spec), "")))
    return Wanted(tuple(asked), tuple(known), recording)


def _specs(line: CheckLine) -> Iterable[tuple[Any, dict[str, Any]]]:
    """Each input of the catalogue with what the line says of it; without a calculation, what is kept on record."""
    specs = {name: {"name": name, **spec} for name, spec in line.inputs.items()}
    definition = definition_or_none(line.calculation)
    if definition is None:
        yield from ((None, spec) for spec in specs.values())
        return
    for one in definition.inputs:
        spec = specs.get(one.name)
        if spec or one.required:
            yield one, spec or {"name": one.name, "kind": "measured" if one.measured else "typed"}


def definition_or_none(name: str) -> Any:
    """The calculation of this name, if there is one."""
    try:
        return calcs.get(name) if name else None
    except calcs.UnknownCalculation:
        return None


def _name(one: Any, spec: Mapping[str, Any]) -> str:
    return str(one.name if one else spec["name"])


def _known(line: CheckLine, one: Any, spec: Mapping[str, Any]) -> Known | None:
    unit = spec.get("unit") or (one.unit if one else "")
    label = spec.get("label") or (one.help if one else "") or _name(one, spec)
    if spec["kind"] == "value":
        return Known(label, shown(spec["value"]), unit, "set by the procedure")
    if spec["kind"] != "nameplate":
        return None
    value = nameplate_value(system=line.stage.system, line=line, spec=spec)
    if value is None:
        return None
    key = NAMEPLATE_KEYS.get(spec.get("key", ""))
    return Known(
        spec.get("label") or (key.words if key else label), shown(value), key.unit if key else unit, "nameplate"
    )


def shown(value: Any) -> str:
    """A stored value as it is read: a true minus sign, no trailing zero."""
    return (
        f"{value:g}".replace("-", "−") if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
    )


def _asked(one: Any, spec: Mapping[str, Any], previous: str) -> Asked:
    key = NAMEPLATE_KEYS.get(spec.get("key", ""))
    off_the_plate = spec["kind"] == "nameplate"
    label = spec.get("label") or (key.words if key else "") or (one.help if one else "") or _name(one, spec)
    return Asked(
        name=_name(one, spec),
        label=label[:1].upper() + label[1:],
        unit=spec.get("unit") or (one.unit if one else ""),
        many=bool(spec.get("many")) or bool(one and one.kind == "list"),
        choices=tuple(map(str, one.choices)) if one and one.kind == "choice" else (),
        optional=bool(spec.get("optional")),
        measured=spec["kind"] == "measured",
        help="Not in the register: read it off the nameplate." if off_the_plate else "",
        previous=previous,
    )


def wanted_by_calculation(definition: Any) -> Wanted:
    """Every input of a calculation of the catalogue, as a form asks for it."""
    return Wanted(
        tuple(
            Asked(
                name=one.name,
                label=f"{one.help[:1].upper()}{one.help[1:]}" or one.name,
                unit=one.unit,
                many=one.kind == "list",
                choices=tuple(map(str, one.choices)) if one.kind == "choice" else (),
                optional=not one.required,
                measured=one.measured,
                help=_hint(one, definition),
            )
            for one in definition.inputs
            if one.kind != "table"  # a recording: it is brought in as a file, not typed
        )
    )


def _hint(one: Any, definition: Any) -> str:
    if one.default is not None:
        source = definition.defaults_from.get(one.name, "")
        return f"Empty: {shown(one.default)}" + (f" ({source})" if source else "")
    if one.kind == "pairs":
        return f"Pairs of {one.unit or 'number'} : {one.second_unit or 'number'}, as 320:1, 100:29"
    return "Several values, with ; between them" if one.kind == "list" else ""
