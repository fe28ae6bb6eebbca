"""Fields that several forms of the punch list share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from commissioning.models import Membership, Role, User

NOBODY = "nobody"


class PhotosInput(forms.FileInput):
    """The camera of a phone, or files on a desk; several at once."""

    allow_multiple_selected = True

    def __init__(self) -> None:
        super().__init__(attrs={"accept": "image/*", "capture": "environment", "multiple": True})


class PhotosField(forms.FileField):
    """A list of uploaded files; each is checked by content when it is added, not by its name."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Photos")
        super().__init__(widget=PhotosInput(), required=False, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:  # type: ignore[override]
        given = data if isinstance(data, list | tuple) else [data]
        return [file for file in given if file]


class DayField(forms.DateField):
    """A day in ISO 8601, typed as text so that a browser keeps what it cannot read."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Due")
        kwargs.setdefault("help_text", "year-month-day, 2026-04-01")
        kwargs.setdefault("error_messages", {"invalid": "Type the day as year-month-day, 2026-04-01."})
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"autocomplete": "off", "inputmode": "numeric"})
        super().__init__(input_formats=["%Y-%m-%d"], widget=widget, required=False, **kwargs)


class OwnerField(forms.ChoiceField):
    """Who owes an item: a member of the project."""

    def __init__(self, members: Iterable[Membership], *, first: list[tuple[str, str]], **kwargs: Any) -> None:
        self.users: dict[str, User] = {}
        choices = list(first)
        for member in members:
            key = str(member.user_id)
            self.users[key] = member.user
            words = ", ".join(part for part in (str(member.user), Role(member.role).label, member.company) if part)
            choices.append((key, words))
        kwargs.setdefault("label", "Who owes it")
        super().__init__(choices=choices, required=False, **kwargs)

    def user(self, value: str) -> User | None:
        return self.users.get(value)
