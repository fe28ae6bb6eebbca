"""Forms of the register: an upload, and what is added by hand, one form for each kind of record."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.fields import EquipmentField, SystemField
from commissioning.models import Direction, EquipmentKind, Site, StageKind, SupplyKind, SystemKind
from commissioning.register_import.archives import UPLOAD_BYTES
from commissioning.selectors.access import Access, equipment_for, sites_for, systems_for

TAG = forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"})


class UploadForm(RepeatSafeForm):
    """A register as somebody keeps it."""

    file = forms.FileField(
        label="Workbook, CSV file, or zip of CSV files",
        help_text=f"At most {UPLOAD_BYTES >> 20} MB. Nothing is written before you have seen what would change.",
        error_messages={
            "required": "Choose the file first.",
            "empty": "The file is empty. Choose another.",
            "missing": "Choose the file first.",
        },
        widget=forms.FileInput(attrs={"accept": ".xlsx,.csv,.tsv,.txt,.zip"}),
    )


def _tag(help_text: str) -> forms.CharField:
    words = {"required": "Type the tag."}
    return forms.CharField(label="Tag", max_length=60, help_text=help_text, widget=TAG, error_messages=words)


def _words(label: str, *, required: bool = False, length: int = 200, help_text: str = "") -> forms.CharField:
    words = {"required": f"Type the {label.lower()}."}
    return forms.CharField(label=label, required=required, max_length=length, help_text=help_text, error_messages=words)


class AddForm(RepeatSafeForm):
    """Something added by hand; `access` says among what it may be chosen."""

    def __init__(self, *args: Any, access: Access, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.access = access
        self.choose()

    def choose(self) -> None:
        """Fields whose choices depend on who asks."""

    def place_system(self, *, first: bool = True, label: str = "System", name: str = "system") -> None:
        """A field for the system, in front of the others."""
        self.fields[name] = SystemField(rows=systems_for(self.access), label=label)
        if first:
            self.order_fields([name])

    def place_equipment(self, name: str, *, label: str, help_text: str, after: str) -> None:
        """A field for equipment that may be left empty."""
        rows = equipment_for(self.access).select_related("system")
        self.fields[name] = EquipmentField(rows=rows, label=label, required=False, help_text=help_text)
        order = [field for field in self.fields if field != name]
        order.insert(order.index(after) + 1, name)
        self.order_fields(order)


class SiteForm(AddForm):
    code = forms.CharField(
        max_length=20,
        help_text="Short, such as QPS. It is printed in lists.",
        error_messages={"required": "Type a short code."},
        widget=TAG,
    )
    name = _words("Name", required=True)
    time_zone = _words("Time zone", length=64, help_text="Such as Europe/London. Empty: the project's.")
    notes = forms.CharField(
        required=False,
        help_text="Access, local rules, emergency contact on site. Everybody who opens the site reads it.",
        widget=forms.Textarea(attrs={"rows": 4, "data-keep": ""}),
    )


class SystemForm(AddForm):
    site: forms.ModelChoiceField[Site] = forms.ModelChoiceField(
        queryset=None, empty_label="choose a site", error_messages={"required": "Choose the site."}
    )
    tag = _tag("Unique in the project, such as QPS-GUA10.")
    name = _words("Name", required=True, help_text="What it is called, such as 125 V switchgear supply.")
    kind = forms.ChoiceField(
        choices=[("", "choose a kind"), *SystemKind.choices],
        help_text="It decides stages and procedure, and stays.",
        error_messages={"required": "Choose the kind."},
    )

    def choose(self) -> None:
        self.fields["site"].queryset = sites_for(self.access)


class EquipmentForm(AddForm):
    tag = _tag("Unique in the project, as it is on the label.")
    kind = forms.ChoiceField(
        choices=EquipmentKind.choices, initial=EquipmentKind.OTHER, help_text="Check lines are laid out by it."
    )
    description = _words("Description")
    maker = _words("Maker", length=120)
    model = _words("Model", length=120)
    serial_number = _words("Serial number", length=80)

    def choose(self) -> None:
        self.place_system()
        self.place_equipment("parent", label="Part of", help_text="The tag of what it is part of.", after="kind")


class SupplyForm(AddForm):
    tag = _tag("Unique in its system.")
    kind = forms.ChoiceField(
        choices=[("", "choose how energy gets in"), *SupplyKind.choices],
        error_messages={"required": "Choose how energy gets in."},
    )
    description = _words("Description", help_text="What it is and where, such as AC incomer, board BFA10 way 6.")

    def choose(self) -> None:
        self.place_system()


class SignalForm(AddForm):
    tag = _tag("Unique in its system.")
    description = _words("Description", required=True, help_text="What it says, such as earth fault.")
    direction = forms.ChoiceField(choices=Direction.choices, initial=Direction.OUTPUT)
    stage_kind = forms.ChoiceField(choices=StageKind.choices, initial=StageKind.ENERGISATION, label="Proved in")
    far_end = _words("Far end", length=120, help_text="Where it is seen: card, channel, display.")
    order = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=2_000_000,
        help_text="Its place in the list.",
        error_messages={"invalid": "Write a whole number."},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def choose(self) -> None:
        self.place_system()
        self.place_equipment("equipment", label="Equipment", help_text="What it belongs to.", after="description")


class DependencyForm(AddForm):
    stage = forms.ChoiceField(
        choices=[("", "choose its stage"), *StageKind.choices],
        label="Its stage",
        error_messages={"required": "Choose the stage that waits."},
    )
    requires_stage = forms.ChoiceField(
        choices=[("", "choose the stage"), *StageKind.choices],
        label="The stage it waits for",
        error_messages={"required": "Choose the stage that must be accepted first."},
    )

    def choose(self) -> None:
        self.place_system(label="System that waits")
        self.place_system(first=False, label="System it waits for", name="requires")
        self.order_fields(["system", "stage", "requires", "requires_stage"])
