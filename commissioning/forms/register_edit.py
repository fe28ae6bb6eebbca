"""Forms that change what the register holds: the fields that add a record, filled in, and its nameplate as a list."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.forms.register import AddForm, EquipmentForm, SignalForm, SiteForm, SupplyForm, SystemForm
from commissioning.procedures.nameplate import NAMEPLATE_KEYS

#: Names of fields for entries that the nameplate does not have yet; a number follows.
KEY, VALUE = "add_key_", "add_value_"
#: The button that asks for one more line and saves nothing.
ANOTHER = "another"


class EditForm(AddForm):
    """What is recorded, to be changed.

    Each field carries along what it showed at first. Only what the person changed is saved, so that two people who
    change different things of one record at the same moment do not undo each other.
    """

    client_uuid = None  # type: ignore[assignment]

    def __init__(self, *args: Any, record: Any, **kwargs: Any) -> None:
        self.record = record
        super().__init__(*args, **kwargs)
        self.own = tuple(self.fields)
        for name in self.own:
            self.initial[name] = self.recorded(name)
            self.fields[name].show_hidden_initial = True

    def recorded(self, name: str) -> Any:
        """The value as the field shows it: another record by its tag."""
        value = getattr(self.record, name)
        return getattr(value, "tag", value)

    @property
    def described(self) -> list[forms.BoundField]:
        return [self[name] for name in self.own]

    def changes(self) -> dict[str, Any]:
        """What the person changed, by the names that the service takes."""
        return {name: self.cleaned_data[name] for name in self.own if name in self.changed_data}

    def place_of(self, name: str) -> str:
        """The field beside which the service's words about `name` belong."""
        return name


class SiteEdit(EditForm, SiteForm):
    notes = forms.CharField(
        required=False,
        help_text="Access, local rules, emergency contact on site. Everybody who opens the site reads it.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )


class SupplyEdit(EditForm, SupplyForm):
    def choose(self) -> None:
        """It stays in its system."""


class SignalEdit(EditForm, SignalForm):
    def choose(self) -> None:
        self.place_equipment("equipment", label="Equipment", help_text="What it belongs to.", after="description")

    def changes(self) -> dict[str, Any]:
        found = super().changes()
        return {**found, "order": found["order"] or 0} if "order" in found else found


class NameplateForm(EditForm):
    """A record with a nameplate: a field for each entry it has, and lines for entries it does not have yet."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = [key for key in NAMEPLATE_KEYS if key in self.record.nameplate]
        # An entry that no list knows can be looked at and emptied; kept, the service says what is wrong with it.
        unknown = [key for key in sorted(self.record.nameplate) if key not in NAMEPLATE_KEYS and key not in self.fields]
        self.recorded_keys = (*known, *unknown)
        self.remaining = [key for key in NAMEPLATE_KEYS if key not in self.record.nameplate]
        for key in self.recorded_keys:
            self.fields[key] = _entry(key)
            self.fields[key].show_hidden_initial = True
            self.initial[key] = self.record.nameplate[key]
        for number in range(1, self._lines() + 1):
            self.fields[f"{KEY}{number}"] = self._choice()
            self.fields[f"{VALUE}{number}"] = forms.CharField(label="Its value", required=False, max_length=60)

    def _lines(self) -> int:
        """How many new entries there is room for: as many as the page had, and one more when it was asked for."""
        had = sum(name.startswith(KEY) for name in self.data)
        return min(max(had, 1) + (ANOTHER in self.data), len(self.remaining))

    def _choice(self) -> forms.ChoiceField:
        choices = [(key, _words(key, unit=True)) for key in self.remaining]
        return forms.ChoiceField(
            label="Another entry",
            required=False,
            choices=[("", "choose an entry"), *choices],
            error_messages={"invalid_choice": "It is recorded already. Change it in the list above."},
        )

    @property
    def plate(self) -> list[dict[str, Any]]:
        """The recorded entries, each with its unit."""
        units = {key: NAMEPLATE_KEYS[key].unit for key in self.recorded_keys if key in NAMEPLATE_KEYS}
        return [{"field": self[key], "unit": units.get(key, "")} for key in self.recorded_keys]

    @property
    def additions(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """The lines for new entries: which one, and its value."""
        return [(self[name], self[name.replace(KEY, VALUE)]) for name in self.fields if name.startswith(KEY)]

    def clean(self) -> dict[str, Any]:
        """Both halves of a new line are filled in, and no entry is chosen twice."""
        chosen: set[str] = set()
        for number in range(1, len(self.additions) + 1):
            key, value = (self.cleaned_data.get(f"{name}{number}", "") for name in (KEY, VALUE))
            if value and not key and f"{KEY}{number}" not in self.errors:
                self.add_error(f"{KEY}{number}", "Choose what the value is.")
            elif key and not value:
                self.add_error(f"{VALUE}{number}", "Type the value, or choose no entry.")
            elif key in chosen:
                self.add_error(f"{KEY}{number}", "It is chosen twice. Leave one of them out.")
            chosen |= {key} - {""}
        return self.cleaned_data

    def changes(self) -> dict[str, Any]:
        """With the whole nameplate, if an entry of it was changed, emptied or added."""
        entries = {key: self.cleaned_data[key] for key in self.recorded_keys if key in self.changed_data}
        entries |= {self.cleaned_data[name]: self.cleaned_data[value] for name, value in self._added()}
        if not entries:
            return super().changes()
        whole = {**self.record.nameplate, **entries}
        return {**super().changes(), "nameplate": {key: value for key, value in whole.items() if value != ""}}

    def _added(self) -> list[tuple[str, str]]:
        pairs = [(key.name, value.name) for key, value in self.additions]
        return [(key, value) for key, value in pairs if self.cleaned_data.get(key)]

    def place_of(self, name: str) -> str:
        added = {self.cleaned_data[key]: value for key, value in self._added()}
        return added.get(name, name)


def _words(key: str, *, unit: bool = False) -> str:
    """What an entry is, as its line is labelled."""
    if key not in NAMEPLATE_KEYS:
        return key.replace("_", " ")
    entry = NAMEPLATE_KEYS[key]
    said = " or ".join(entry.choices) or (entry.unit if unit else "")
    return f"{entry.words}, {said}" if said else entry.words


def _entry(key: str) -> forms.CharField:
    widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})
    return forms.CharField(label=_words(key), required=False, max_length=60, widget=widget)


class SystemEdit(NameplateForm, SystemForm):
    kind = None  # type: ignore[assignment]

    def choose(self) -> None:
        super().choose()
        self.fields["tag"].help_text = "Unique in the project. The history keeps the former tag."

    def recorded(self, name: str) -> Any:
        return self.record.site_id if name == "site" else super().recorded(name)


class EquipmentEdit(NameplateForm, EquipmentForm):
    def choose(self) -> None:
        self.fields["tag"].help_text = "As it is on the label. The former tag is kept: an old label still leads here."
        self.place_equipment("parent", label="Part of", help_text="The tag of what it is part of.", after="kind")
