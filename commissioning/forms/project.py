"""Forms of a project: its settings, and a new one."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.models import DecisionRule, Project, SecondFactorFor, StageKind, SystemKind
from commissioning.rules.stages import stage_plan

PLAN = "plan_"


class SettingsForm(forms.Form):
    """What a project decides for itself, each with what it means."""

    name = forms.CharField(max_length=200, error_messages={"required": "Type the project's name."})
    client_name = forms.CharField(required=False, max_length=200, label="Client", help_text="Printed in dossiers.")
    contractor_name = forms.CharField(
        required=False, max_length=200, label="Contractor", help_text="Printed in dossiers."
    )
    time_zone = forms.CharField(
        max_length=64,
        help_text="Such as Europe/London. A site may have its own.",
        error_messages={"required": "Name a time zone such as Europe/London or UTC."},
    )
    decision_rule = forms.ChoiceField(
        choices=[
            (DecisionRule.SIMPLE, "simple acceptance: a value inside its limit is accepted"),
            (DecisionRule.GUARDED, "guarded acceptance: it must be inside by the guard band as well"),
        ],
        widget=forms.RadioSelect,
        help_text="How a reading is judged against its limit (JCGM 106, ILAC-G8). Readings whose verdict changes are "
        "shown for decision.",
        error_messages={"required": "Choose simple or guarded acceptance."},
    )
    guard_factor = forms.FloatField(
        min_value=0,
        max_value=3,
        help_text="Width of the guard band as a multiple of the expanded uncertainty, 0 to 3. ILAC-G8 uses 1.",
        error_messages={
            "required": "Write a number between 0 and 3, such as 1.",
            "invalid": "Write a number between 0 and 3, such as 1.",
            "min_value": "A guard factor lies between 0 and 3.",
            "max_value": "A guard factor lies between 0 and 3.",
        },
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    b_blocks_stage = forms.BooleanField(
        required=False,
        label="Category B blocks the stage it was raised in",
        help_text="Off: B blocks handover only.",
    )
    c_blocks_handover = forms.BooleanField(
        required=False,
        label="Category C blocks handover",
        help_text="Off: C is carried over, on a list of its own.",
    )
    far_end_by_second_person = forms.BooleanField(
        required=False,
        label="A signal is confirmed at the far end by a second person",
        help_text="Off: whoever forces a point may confirm it too.",
    )
    keep_photo_position = forms.BooleanField(
        required=False,
        label="Photos keep where they were taken",
        help_text="Off: the position is taken out of every photo before it is kept.",
    )

    escalate_after_days = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=365,
        label="Managers are told of a punch item that is overdue for more than … days",
        help_text="Empty: they are not told. Whoever owes it is told in any case.",
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), "Write whole days, 0 to 365, or nothing."),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    second_factor = forms.ChoiceField(
        label="A second factor at sign-in",
        choices=SecondFactorFor.choices,
        widget=forms.RadioSelect,
        help_text="A passkey or an authenticator app beside the password. Whoever has to and has none sees nothing of "
        "the project until it is set up.",
        error_messages={"required": "Choose nobody, managers or everyone."},
    )

    def __init__(self, *args: Any, project: Project | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plans = project.stage_plans if project else {}
        for kind, label in SystemKind.choices:
            self.fields[PLAN + kind] = forms.MultipleChoiceField(
                label=label,
                choices=StageKind.choices,
                initial=list(stage_plan(kind, plans)),
                widget=forms.CheckboxSelectMultiple,
                error_messages={"required": "Leave at least one stage."},
            )

    @property
    def plans(self) -> list[Any]:
        """The fields of the stage plans, one a kind of system."""
        return [self[PLAN + kind] for kind in SystemKind.values]

    def changes(self) -> dict[str, Any]:
        """Arguments of the service; a plan that is the kind's own is not kept as the project's."""
        given = {name: value for name, value in self.cleaned_data.items() if not name.startswith(PLAN)}
        plans = {kind: self.in_order(kind) for kind in SystemKind.values}
        own = {kind: plan for kind, plan in plans.items() if tuple(plan) != stage_plan(kind)}
        return {**given, "stage_plans": own}

    def in_order(self, kind: str) -> list[str]:
        chosen = self.cleaned_data[PLAN + kind]
        return [stage for stage in StageKind.values if stage in chosen]


class ProjectForm(forms.Form):
    """A new project; everything else is settled under its settings."""

    code = forms.CharField(
        max_length=20,
        help_text="Short, of letters and digits, such as OMB. It is printed in numbers and stays.",
        error_messages={"required": "Choose a short code."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    name = forms.CharField(max_length=200, error_messages={"required": "Type the project's name."})
    client_name = forms.CharField(required=False, max_length=200, label="Client")
    contractor_name = forms.CharField(required=False, max_length=200, label="Contractor")
    time_zone = forms.CharField(
        max_length=64,
        initial="UTC",
        help_text="Such as Europe/London.",
        error_messages={"required": "Name a time zone such as Europe/London or UTC."},
    )
