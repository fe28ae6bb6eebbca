"""Forms of a project's procedures: a line as it is edited, versions taken over, systems it is laid out on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django import forms

import calcs
from calcs.units import parse
from commissioning.models import EquipmentKind, ProcedureLine, Role, StageKind, System
from commissioning.models.procedures import Action, Point, Work

REPEATS = [
    ("", "once"),
    ("each", "for each piece"),
    ("first", "for the first piece"),
    ("following", "for each piece after the first"),
]
PLAIN = (
    "title", "how", "accept", "caution", "action", "work", "injects_voltage", "point", "party", "required",
    "timer_seconds", "equipment_kind", "repeat",
)  # fmt: skip


def _text(rows: int, label: str, help: str = "") -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows, "data-keep": ""})
    return forms.CharField(required=False, label=label, help_text=help, widget=widget)


class LineForm(forms.Form):
    """What a line says. Its calculation and where its inputs come from have a page of their own."""

    title = forms.CharField(
        max_length=160,
        label="What is to be done",
        error_messages={"required": "Say in a few words what is to be done."},
    )
    caution = _text(2, "Caution", "What can hurt somebody. It stands before everything else on the line.")
    how = _text(4, "How")
    accept = _text(2, "Good enough when")
    action = forms.ChoiceField(choices=Action.choices, label="Kind of check")
    work = forms.ChoiceField(
        choices=Work.choices, help_text="Dead work is refused on a system that is not recorded isolated."
    )
    injects_voltage = forms.BooleanField(
        required=False, label="Injects a test voltage: dead has to be proved on the line first"
    )
    point = forms.ChoiceField(choices=Point.choices, label="Point")
    party = forms.ChoiceField(
        required=False, choices=[("", "the client"), *Role.choices], label="Party that witnesses or reviews"
    )
    required = forms.BooleanField(required=False, label="Required for the gate")
    timer_seconds = forms.IntegerField(
        required=False, min_value=1, max_value=86400, label="Seconds to hold", help_text="For a relay held forced.",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={"invalid": "Write whole seconds, as 15."},
    )  # fmt: skip
    equipment_kind = forms.ChoiceField(
        required=False, choices=[("", "the system as a whole"), *EquipmentKind.choices], label="About"
    )
    repeat = forms.ChoiceField(required=False, choices=REPEATS, label="Laid out")

    def content(self) -> dict[str, Any]:
        """The fields of the line as they were typed."""
        given = {name: self.cleaned_data[name] for name in PLAIN if name in self.cleaned_data}
        if given.get("point") == Point.NONE:
            given["party"] = ""
        return given


@dataclass(frozen=True, slots=True)
class LimitRow:
    """An output that the project may limit, with its three fields."""

    output: Any
    lower: Any
    upper: Any
    source: Any
    bundled: str


class EditLineForm(LineForm):
    """A line that is there already, with its own limits where it calculates."""

    def __init__(self, data: Any = None, *, line: ProcedureLine) -> None:
        super().__init__(data, initial={name: getattr(line, name) for name in PLAIN})
        self.line = line
        self.definition = calcs.get(line.calculation) if line.calculation in calcs.names() else None
        own = {limit["output"]: limit for limit in line.limits}
        for one in self._outputs():
            said = own.get(one.name, {})
            for side in ("lower", "upper"):
                value = said.get(side)
                self.fields[f"{side}_{one.name}"] = forms.CharField(
                    required=False, max_length=40, widget=forms.TextInput(attrs={"inputmode": "decimal"}),
                    label="at least" if side == "lower" else "at most",
                    initial="" if value is None else f"{value:g}",
                )  # fmt: skip
            self.fields[f"source_{one.name}"] = forms.CharField(
                required=False, max_length=200, label="who says so", initial=said.get("source", "")
            )

    def _outputs(self) -> Iterable[Any]:
        return [one for one in self.definition.outputs if one.kind in ("number", "count")] if self.definition else []

    @property
    def plain(self) -> list[Any]:
        """Fields that are no limits."""
        return [self[name] for name in LineForm.base_fields]

    @property
    def limit_rows(self) -> list[LimitRow]:
        """The fields of the limits, output by output, with what the catalogue says."""
        stated: dict[str, list[str]] = {}
        for limit in self.definition.limits if self.definition else ():
            sides = (("at least", limit.lower), ("at most", limit.upper))
            bounds = " and ".join(f"{words} {self._said(value)}" for words, value in sides if value is not None)
            stated.setdefault(limit.output, []).append(f"{bounds} ({limit.source})")
        return [
            LimitRow(
                one, self[f"lower_{one.name}"], self[f"upper_{one.name}"], self[f"source_{one.name}"],
                "; ".join(stated.get(one.name, ())),
            )
            for one in self._outputs()
        ]  # fmt: skip

    def _said(self, bound: Any) -> str:
        """A bound that names another value is told by what that is."""
        if not isinstance(bound, str) or self.definition is None:
            return str(bound)
        found = self.definition.described(bound.lstrip("-"))
        return ("minus " if bound.startswith("-") else "") + (getattr(found, "help", "") or bound.lstrip("-"))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for one in self._outputs():
            self._clean_limit(one, given)
        return given

    def _clean_limit(self, one: Any, given: dict[str, Any]) -> None:
        for side in ("lower", "upper"):
            name = f"{side}_{one.name}"
            if given.get(name):
                try:
                    given[name] = parse(given[name], one.unit, name=one.name).value
                except calcs.InputError as error:
                    self.add_error(name, str(error))
        bounds = [value for side in ("lower", "upper") if isinstance(value := given.get(f"{side}_{one.name}"), float)]
        if bounds and not given.get(f"source_{one.name}"):
            self.add_error(f"source_{one.name}", "Say who set this limit: a document with its revision, or a person.")
        if len(bounds) == 2 and bounds[0] > bounds[1]:
            self.add_error(f"upper_{one.name}", "The upper limit lies below the lower one.")

    def limits(self) -> list[dict[str, Any]]:
        """The project's own limits."""
        found = []
        for one in self._outputs():
            sides = {side: self.cleaned_data.get(f"{side}_{one.name}") for side in ("lower", "upper")}
            sides = {side: value if isinstance(value, float) else None for side, value in sides.items()}
            if any(value is not None for value in sides.values()):
                found.append({"output": one.name, "source": self.cleaned_data[f"source_{one.name}"], **sides})
        return found

    def changes(self) -> dict[str, Any]:
        """Only what differs from the line as it stands."""
        wanted = {**self.content(), "limits": self.limits()}
        kept = {_plain_limit(limit) for limit in self.line.limits}
        if {_plain_limit(limit) for limit in wanted["limits"]} == kept:
            del wanted["limits"]
        return {name: value for name, value in wanted.items() if name == "limits" or value != getattr(self.line, name)}


def _plain_limit(limit: dict[str, Any]) -> tuple[Any, ...]:
    return limit["output"], limit.get("lower"), limit.get("upper"), limit.get("source", "")


class AddLineForm(LineForm):
    """A line of the project's own."""

    stage_kind = forms.ChoiceField(choices=StageKind.choices, label="Stage")
    after = forms.ChoiceField(required=False, label="After the line")
    field_order = ["stage_kind", "after", *PLAIN]

    def __init__(
        self, data: Any = None, *, lines: Iterable[ProcedureLine], stages: Iterable[str], **kwargs: Any
    ) -> None:
        super().__init__(data, **kwargs)
        self.fields["stage_kind"].choices = [(kind, words) for kind, words in StageKind.choices if kind in set(stages)]
        self.fields["after"].choices = [
            ("", "at the end of its stage"),
            *((line.key, f"{line.get_stage_kind_display()}: {line.key} {line.title}") for line in lines),
        ]


class ApplyForm(forms.Form):
    """The systems that the procedure is laid out on."""

    systems = forms.ModelMultipleChoiceField(
        queryset=System.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one system."},
    )

    def __init__(self, data: Any = None, *, systems: Any, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.fields["systems"].queryset = systems


class RemoveForm(forms.Form):
    """Leaving a line out asks for the reason."""

    reason = forms.CharField(error_messages={"required": "Say why the project leaves this line out."})
