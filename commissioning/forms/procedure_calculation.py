"""The calculation of a line, and where each of its inputs comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms

import calcs
from calcs.definition import Input
from commissioning.models import EquipmentKind, ProcedureLine
from commissioning.procedures.calculating import ORIGIN_WORDS, ORIGINS, PARTS, results_of
from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.procedures.terms import UNITS

_PLAIN = {"autocomplete": "off", "spellcheck": "false"}
KEYS = [
    ("", "choose"),
    *((key, one.words + (f", {one.unit}" if one.unit else "")) for key, one in NAMEPLATE_KEYS.items()),
]
OWNERS = [("", "choose"), ("system", "the system"), *EquipmentKind.choices]


def _text(label: str, **attrs: str) -> forms.CharField:
    return forms.CharField(required=False, label=label, max_length=200, widget=forms.TextInput({**_PLAIN, **attrs}))


def _fields_of(one: Input) -> dict[str, forms.Field]:
    """What can be said of an input; which of it counts depends on where the input comes from."""
    ways = [(kind, ORIGIN_WORDS[kind]) for kind in ORIGINS[one.kind]]
    without = "choose" if one.required else "left out"
    found: dict[str, forms.Field] = {
        "kind": forms.ChoiceField(required=False, label="from", choices=[("", without), *ways]),
        "label": _text("in words"),
    }
    if one.kind in ("scalar", "list"):
        units = [(unit, unit or (f"as the calculation: {one.unit}" if one.unit else "none")) for unit in UNITS]
        found["unit"] = forms.ChoiceField(required=False, label="unit", choices=units)
    if "nameplate" in ORIGINS[one.kind]:
        found["key"] = forms.ChoiceField(required=False, label="nameplate entry", choices=KEYS)
        found["of"] = forms.ChoiceField(required=False, label="nameplate of", choices=OWNERS)
    if "value" in ORIGINS[one.kind]:
        found["value"] = _text("value")
        found["source"] = _text("who says so")
    if not one.required:
        found["optional"] = forms.BooleanField(required=False, label="may be left empty")
    return found


@dataclass(frozen=True, slots=True)
class InputRow:
    """One input of the calculation with its fields."""

    one: Input
    fields: list[tuple[str, Any]]


class LineCalculationForm(forms.Form):
    """Every input of the calculation chosen; nothing but the kind of its fields is judged here."""

    def __init__(self, data: Any = None, *, line: ProcedureLine, calculation: str) -> None:
        super().__init__(data)
        self.line, self.calculation = line, calculation
        self.definition = calcs.get(calculation) if calculation in calcs.names() else None
        for one in self.inputs:
            known = self._known(one)
            for part, field in _fields_of(one).items():
                field.initial = known.get(part, "")
                self.fields[f"inputs.{one.name}.{part}"] = field

    @property
    def inputs(self) -> tuple[Input, ...]:
        return tuple(self.definition.inputs) if self.definition else ()

    def _known(self, one: Input) -> dict[str, Any]:
        """What the line says of the input now; a new calculation begins with what the catalogue knows."""
        if self.line.calculation == self.calculation:
            return dict(self.line.inputs.get(one.name, {}))
        if one.required and one.measured and "measured" in ORIGINS[one.kind]:
            return {"kind": "measured", "label": one.help[:1].upper() + one.help[1:]}
        return {}

    @property
    def rows(self) -> list[InputRow]:
        """The fields, input by input."""
        return [
            InputRow(one, [(part, self[f"inputs.{one.name}.{part}"]) for part in _fields_of(one)])
            for one in self.inputs
        ]

    def specs(self) -> dict[str, dict[str, Any]]:
        """Where each input comes from, with what belongs to that alone."""
        found = {}
        for one in self.inputs:
            given = {part: self.cleaned_data.get(f"inputs.{one.name}.{part}") for part in ("kind", *PARTS_TYPED)}
            if kind := given["kind"]:
                spec = {part: value for part, value in given.items() if value and part in {"kind", *PARTS[kind]}}
                if kind == "value" and "value" in spec:
                    spec["value"] = as_number(spec["value"])
                if kind == "measured" and one.kind == "list":
                    spec["many"] = True
                found[one.name] = spec
        if self.line.calculation == self.calculation:
            names = {one.name for one in self.inputs}
            found |= {name: spec for name, spec in self.line.inputs.items() if name not in names}
        return found

    def changes(self) -> dict[str, Any]:
        """Only what differs; limits on results that the new calculation does not have go with the old one."""
        wanted: dict[str, Any] = {"calculation": self.calculation, "inputs": self.specs()}
        if self.calculation != self.line.calculation:
            results = results_of(self.definition) if self.definition else set()
            wanted["limits"] = [limit for limit in self.line.limits if limit["output"] in results]
        return {name: value for name, value in wanted.items() if value != getattr(self.line, name)}


PARTS_TYPED = ("label", "unit", "key", "of", "value", "source", "optional")


def as_number(text: str) -> float | str:
    """A number where it is one, with a decimal comma or point; else the text."""
    try:
        number = float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        return text.strip()
    return int(number) if number.is_integer() and abs(number) < 1e15 else number
