"""Forms of an alarm: narrow the list, write one down, say what it is, see it clear."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils import timezone

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.fields import EquipmentField, MomentField, SystemField
from commissioning.models import AlarmOutcome, Equipment, Site, Stage, StageKind, System
from commissioning.selectors.alarms import AlarmsWanted

#: A clock may be a little fast.
AHEAD = timedelta(minutes=5)
IN_THE_FUTURE = "This moment has not come yet. Write when it was."


def not_ahead(moment: Any) -> None:
    """Refuses a moment that has not come."""
    if moment > timezone.now() + AHEAD:
        raise forms.ValidationError(IN_THE_FUTURE)


class AlarmFilter(forms.Form):
    """The filter bar; what cannot be read is left out rather than refused."""

    q = forms.CharField(required=False, label="search", widget=forms.TextInput(attrs={"type": "search"}))
    system = forms.CharField(required=False, widget=forms.TextInput(attrs={"size": 10, "list": "systems"}))
    site = forms.ChoiceField(required=False)
    outcome = forms.ChoiceField(required=False, choices=[("", "any"), *AlarmOutcome.choices])
    stage = forms.ChoiceField(required=False, choices=[("", "every stage"), *StageKind.choices])
    cleared = forms.ChoiceField(required=False, choices=[("", "cleared or not"), ("no", "not cleared")])

    def __init__(self, data: Any, *, sites: Iterable[Site], system: System | None) -> None:
        if system is not None:  # the address may name a system by its key; the field shows its tag
            data = data.copy()
            data["system"] = system.tag
        super().__init__(data, auto_id="filter_%s")
        self.fields["site"].choices = [("", "every site"), *((str(site.pk), site.code) for site in sites)]

    def wanted(self) -> AlarmsWanted:
        self.is_valid()
        given = self.cleaned_data
        return AlarmsWanted(
            system=given.get("system") or "",
            site=given.get("site") or "",
            outcome=given.get("outcome") or "",
            stage=given.get("stage") or "",
            not_cleared=given.get("cleared") == "no",
            text=given.get("q") or "",
        )


class LogForm(RepeatSafeForm):
    """An alarm as the display words it, where, and when it was seen."""

    text = forms.CharField(
        max_length=200,
        label="The alarm, as the display words it",
        error_messages={"required": "Type the alarm as the display words it."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", "autofocus": "", "list": "seen"}),
    )
    seen_at = MomentField(label="Seen at", validators=[not_ahead])

    def __init__(
        self, *args: Any, systems: QuerySet[System], equipment: QuerySet[Equipment], system: System | None, **kw: Any
    ) -> None:
        super().__init__(*args, **kw)
        if system is None:
            self.fields["system"] = SystemField(rows=systems, help_text="The tag of the system that showed it.")
            self.fields["stage"] = forms.ChoiceField(
                required=False, choices=[("", "the stage in hand"), *StageKind.choices]
            )
        else:
            stages = [(stage.kind, stage.get_kind_display()) for stage in system.stages.order_by("order")]
            self.fields["stage"] = forms.ChoiceField(required=False, choices=[("", "the stage in hand"), *stages])
        self.fields["equipment"] = EquipmentField(
            rows=equipment, required=False, label="Tag", help_text="What it is about, if the display says so."
        )
        self.order_fields(["text", "system", "equipment", "seen_at", "stage"])


class DecideForm(forms.Form):
    """What the alarm turned out to be."""

    outcome = forms.ChoiceField(
        label="It is",
        choices=[
            (AlarmOutcome.EXPLAINED, "explained: it is known why it stood, and nothing is wrong"),
            (AlarmOutcome.EXPECTED, "expected until a later stage: it must be seen to clear there"),
            (AlarmOutcome.GENUINE, "genuine: something is wrong, and a punch item says what"),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what it is."},
    )
    expected_until = forms.ModelChoiceField(
        queryset=Stage.objects.none(),
        required=False,
        label="Expected until",
        empty_label="choose the stage, for an expected one",
    )
    explanation = forms.CharField(
        required=False,
        label="Why",
        help_text="Needed for explained and expected. The dossier prints it.",
        widget=forms.Textarea(attrs={"rows": 3, "data-keep": ""}),
    )

    def __init__(self, *args: Any, stages: QuerySet[Stage], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["expected_until"].queryset = stages
        self.fields["expected_until"].label_from_instance = Stage.get_kind_display  # type: ignore[attr-defined]


class ClearForm(forms.Form):
    """Somebody saw it clear."""

    at = MomentField(label="Seen to clear at", validators=[not_ahead])
    remark = forms.CharField(
        required=False,
        help_text="What was done just before, if it matters.",
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )
