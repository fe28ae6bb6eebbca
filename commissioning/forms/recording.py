"""Forms of test recordings: bringing a log in, and saying which of its columns is what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import QuerySet

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.fields import EquipmentField, SystemField
from commissioning.forms.reading import TypedForm
from commissioning.models import Equipment, RecordingKind, RecordingState, System
from commissioning.services.recording_columns import ROLE_WORDS
from commissioning.services.recording_files import LARGEST_FILE

UNITS = ("V", "mV", "kV", "A", "mA", "kA", "°C", "°F", "K")
TIME_KINDS = (
    ("elapsed", "counted from the start"),
    ("clock", "time of day, without a date"),
    ("absolute", "date and time"),
)
TIME_UNITS = (("ms", "ms"), ("s", "s"), ("min", "min"), ("h", "h"), ("d", "days"))
DAY_ORDER = (("day", "day before month"), ("month", "month before day"))
#: So many columns of one kind in a row are shown as one, and open on demand.
FOLDED = 6
SAMPLES = 3


class RecordingFilter(forms.Form):
    """What the list is narrowed to."""

    q = forms.CharField(required=False, widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}))
    system = forms.CharField(required=False, widget=forms.TextInput(attrs={"list": "systems", "autocomplete": "off"}))
    kind = forms.ChoiceField(required=False, choices=[("", "any kind"), *RecordingKind.choices])
    state = forms.ChoiceField(
        required=False, choices=[("", "any state"), *RecordingState.choices, ("superseded", "superseded")]
    )


class UploadForm(RepeatSafeForm):
    """A log as the logger or its program wrote it."""

    def __init__(
        self, *args: Any, systems: QuerySet[System] | None, equipment: QuerySet[Equipment] | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if systems is not None:
            self.fields["system"] = SystemField(rows=systems, label="System")
        if equipment is not None:
            self.fields["kind"] = forms.ChoiceField(label="It is the log of a", choices=RecordingKind.choices)
            self.fields["equipment"] = EquipmentField(
                rows=equipment, required=False, label="Tag of the battery", help_text="Where a system has several."
            )
        self.fields["file"] = forms.FileField(
            label="Log",
            help_text=f"CSV, TSV or XLSX, any delimiter, with its heading rows; up to {LARGEST_FILE >> 20} MB. "
            "It is kept as it is.",
            error_messages={"required": "Choose the file.", "empty": "The file is empty."},
            widget=forms.ClearableFileInput(attrs={"accept": ".csv,.tsv,.txt,.log,.dat,.asc,.xlsx"}),
        )


@dataclass(frozen=True, slots=True)
class ColumnRow:
    """A column of the file with its choice."""

    place: int
    heading: str
    samples: list[str]
    role: str
    use: Any
    unit: Any


class ConfirmForm(TypedForm):
    """Which column is what; and what the log cannot know."""

    def __init__(
        self,
        *args: Any,
        head: Mapping[str, Any],
        guess: Mapping[str, Any],
        asked: Sequence[Any] = (),
        rare: Sequence[str] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, asked=asked, **kwargs)
        self.head, self.rare = head, frozenset(rare)
        self.roles = _roles(guess)
        units = {int(place): unit for place, unit in (guess.get("units") or {}).items()}
        self.fields["time_kind"] = forms.ChoiceField(
            label="Time is", choices=TIME_KINDS, initial=guess.get("time_kind", "elapsed")
        )
        self.fields["time_unit"] = forms.ChoiceField(
            label="Unit of the time", choices=TIME_UNITS, initial=_known_unit(guess.get("time_unit", "s")),
            help_text="Where it is a plain number.",
        )  # fmt: skip
        self.fields["day_order"] = forms.ChoiceField(
            label="Dates are written", choices=DAY_ORDER, initial="day" if guess.get("day_first", True) else "month"
        )
        for place, heading in enumerate(head["headings"]):
            self._add_column(place, heading, units.get(place, ""))

    def _add_column(self, place: int, heading: str, unit: str) -> None:
        known = UNITS if not unit or unit in UNITS else (*UNITS, unit)
        self.fields[f"use_{place}"] = forms.ChoiceField(
            required=False,
            choices=[("", "not used"), *ROLE_WORDS.items()],
            initial=self.roles.get(place, ""),
            widget=forms.Select(attrs={"aria-label": f"what column {place + 1} is"}),
        )
        self.fields[f"unit_{place}"] = forms.ChoiceField(
            required=False,
            choices=[("", "usual"), *((one, one) for one in known)],
            initial=unit,
            widget=forms.Select(attrs={"aria-label": f"unit of column {place + 1}"}),
        )

    def column_map(self) -> dict[str, Any]:
        """The map as the service takes it."""
        given = self.cleaned_data
        found: dict[str, Any] = {role: [] for role in ROLE_WORDS}
        units: dict[str, str] = {}
        for place in range(len(self.head["headings"])):
            if role := given.get(f"use_{place}"):
                found[role].append(place)
                if given.get(f"unit_{place}"):
                    units[str(place)] = given[f"unit_{place}"]
        return {
            **found,
            "units": units,
            "time_kind": given["time_kind"],
            "time_unit": given["time_unit"],
            "day_first": given["day_order"] == "day",
        }

    @property
    def rare_open(self) -> bool:
        """Something that is rarely needed is filled in, or wrong."""
        return any(self[name].value() or self[name].errors for name in self.asked if name in self.rare)

    @property
    def times(self) -> list[Any]:
        return [self[name] for name in ("time_kind", "time_unit", "day_order")]

    @property
    def groups(self) -> list[dict[str, Any]]:
        """Columns in the order of the file; many of one kind in a row are one group that opens."""
        runs: list[list[ColumnRow]] = []
        for place, heading in enumerate(self.head["headings"]):
            row = self._row(place, heading)
            if runs and runs[-1][0].role == row.role:
                runs[-1].append(row)
            else:
                runs.append([row])
        groups: list[dict[str, Any]] = []
        for run in runs:
            if len(run) >= FOLDED:
                groups.append({"rows": run, "folded": _run_words(run)})
            elif groups and not groups[-1]["folded"]:
                groups[-1]["rows"] += run
            else:
                groups.append({"rows": list(run), "folded": ""})
        return groups

    def _row(self, place: int, heading: str) -> ColumnRow:
        samples = [row[place] for row in self.head["sample"][:SAMPLES] if place < len(row)]
        use = self[f"use_{place}"]
        return ColumnRow(place + 1, heading, samples, use.value() or "", use, self[f"unit_{place}"])


def _roles(guess: Mapping[str, Any]) -> dict[int, str]:
    found: dict[int, str] = {}
    for role in ROLE_WORDS:
        given = guess.get(role)
        for place in given if isinstance(given, list | tuple) else [] if given is None else [given]:
            found[place] = role
    return found


def _known_unit(text: str) -> str:
    """The time's unit by the name that the choice has for it: sec, mins, hrs and so on by their first letters."""
    known = {unit for unit, _ in TIME_UNITS}
    return text if text in known else next((one for one in ("min", "ms", "s", "h", "d") if text.startswith(one)), "s")


def _run_words(run: Sequence[ColumnRow]) -> str:
    first, last = run[0], run[-1]
    what = ROLE_WORDS.get(first.role, "")
    kind = f"{what}s" if what else "columns that are not used"
    return f"{len(run)} {kind}: columns {first.place} to {last.place}, '{first.heading}' to '{last.heading}'"
