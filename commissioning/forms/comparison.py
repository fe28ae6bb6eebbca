"""Which kind of system is compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from commissioning.models import SystemKind


class KindChoice(forms.Form):
    """One of the kinds that the person sees."""

    kind = forms.ChoiceField(label="kind of system")

    def __init__(self, *args: Any, kinds: Sequence[tuple[str, int]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [(kind, f"{SystemKind(kind).label} ({count})") for kind, count in kinds]
