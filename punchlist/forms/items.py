"""Raising, changing and stepping one item."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.models import Membership, StageKind, User
from punchlist.forms.fields import DayField, OwnerField, PhotosField
from punchlist.models import Category, PunchItem
from punchlist.rules.steps import STEPS
from punchlist.services.common import COMPANY_LIMIT, TEXT_LIMIT

CATEGORY_ERROR = {"required": "Choose A, B or C.", "invalid_choice": "Choose A, B or C."}


class TextField(forms.CharField):
    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "What is wrong or undone")
        super().__init__(
            max_length=TEXT_LIMIT,
            widget=forms.Textarea(attrs={"rows": 3, "data-keep": "", "autocomplete": "off"}),
            error_messages={"required": "Say what is wrong or undone, in a few words."},
            **kwargs,
        )


class TagField(forms.CharField):
    """A tag with those known to choose from while typing."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Tag")
        kwargs.setdefault("error_messages", {"required": "Type the tag of the equipment or of the system."})
        widget = forms.TextInput(
            attrs={"list": "tags", "autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        )
        super().__init__(max_length=60, widget=widget, **kwargs)


class RaiseForm(RepeatSafeForm):
    """A new item. With a fixed place (a line, an alarm) tag and stage are not asked for."""

    category = forms.ChoiceField(choices=Category.choices, widget=forms.RadioSelect, error_messages=CATEGORY_ERROR)
    text = TextField()
    tag = TagField(help_text="Of the equipment, or of the system as a whole.")
    stage = forms.ChoiceField(
        choices=[("", "the stage in hand"), *StageKind.choices],
        required=False,
        help_text="An A item holds this stage.",
    )
    photos = PhotosField()
    owes_company = forms.CharField(label="Company", required=False, max_length=COMPANY_LIMIT)
    due_on = DayField()

    def __init__(self, *args: Any, members: Iterable[Membership], fixed_place: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["owes"] = self.owners = OwnerField(members, first=[("", "nobody yet")])
        if fixed_place:
            del self.fields["tag"], self.fields["stage"]

    @property
    def owner(self) -> User | None:
        return self.owners.user(self.cleaned_data["owes"])


class ChangeForm(RepeatSafeForm):
    """What an item says, and why that changes."""

    category = forms.ChoiceField(choices=Category.choices, widget=forms.RadioSelect, error_messages=CATEGORY_ERROR)
    text = TextField()
    tag = TagField(required=False, help_text="Of equipment of this system. Empty: the system as a whole.")
    owes_company = forms.CharField(label="Company", required=False, max_length=COMPANY_LIMIT)
    due_on = DayField()
    reason = forms.CharField(
        required=False,
        max_length=TEXT_LIMIT,
        label="Reason",
        help_text="Needed to lower the category, which is a manager's decision.",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )

    def __init__(self, *args: Any, members: Iterable[Membership], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["owes"] = self.owners = OwnerField(members, first=[("", "nobody")])
        self.order_fields(["category", "text", "tag", "owes", "owes_company", "due_on", "reason"])

    @property
    def owner(self) -> User | None:
        return self.owners.user(self.cleaned_data["owes"])

    @staticmethod
    def initial_of(item: PunchItem) -> dict[str, Any]:
        return {
            "category": item.category,
            "text": item.text,
            "tag": item.equipment.tag if item.equipment else "",
            "owes": str(item.owes_id or ""),
            "owes_company": item.owes_company,
            "due_on": item.due_on,
        }


class StepForm(RepeatSafeForm):
    """The next step, by the button that was pressed, with a remark or reason."""

    step = forms.ChoiceField(choices=[(name, step.verb) for name, step in STEPS.items()], widget=forms.HiddenInput)
    remark = forms.CharField(
        required=False,
        max_length=TEXT_LIMIT,
        label="Remark or reason",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )


class PhotoForm(forms.Form):
    photos = PhotosField(label="Add photos")
    caption = forms.CharField(required=False, max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"}))


class WithdrawPhotoForm(forms.Form):
    """Why a photo is withdrawn; what the words must hold, the service says."""

    reason = forms.CharField(required=False, strip=False)
