"""Fields that several forms share: a moment as it is typed, a system by its tag."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from commissioning.models import Equipment, System

#: So many tags are offered while typing; any other tag can still be typed.
OFFERED = 300


class MomentField(forms.DateTimeField):
    """A moment of the site's zone: 2026-03-31 14:30."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("input_formats", ["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M"])
        kwargs.setdefault(
            "error_messages",
            {"invalid": "Write it as 2026-03-31 14:30.", "required": "Say when, as 2026-03-31 14:30."},
        )
        attrs = {"inputmode": "numeric", "autocomplete": "off"}
        kwargs.setdefault("widget", forms.DateTimeInput(format="%Y-%m-%d %H:%M", attrs=attrs))
        super().__init__(**kwargs)


class TagField(forms.CharField):
    """A record named by its tag, capitals or not; `rows` are those that the person may see."""

    what = "record"

    def __init__(self, *, rows: QuerySet[Any], list_id: str = "", **kwargs: Any) -> None:
        attrs = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        if list_id:
            attrs["list"] = list_id
        super().__init__(max_length=60, widget=forms.TextInput(attrs=attrs), **kwargs)
        self.rows = rows

    def clean(self, value: Any) -> Any:
        tag = super().clean(value)
        if not tag:
            return None
        found = self.rows.filter(tag=tag).first() or self.rows.filter(tag__iexact=tag).first()
        if found is None:
            raise forms.ValidationError(f"No {self.what} here carries the tag {tag}. Choose from the list, or add it.")
        return found


class SystemField(TagField):
    """A system by its tag; the page carries the datalist `systems`."""

    what = "system"

    def __init__(self, *, rows: QuerySet[System], **kwargs: Any) -> None:
        kwargs.setdefault("error_messages", {"required": "Name the system by its tag."})
        super().__init__(rows=rows.select_related("site__project", "project"), list_id="systems", **kwargs)


class EquipmentField(TagField):
    """A piece of equipment by its tag; the page carries the datalist `equipment`."""

    what = "equipment"

    def __init__(self, *, rows: QuerySet[Equipment], **kwargs: Any) -> None:
        super().__init__(rows=rows, list_id="equipment", **kwargs)
