"""A notice to a witness: answered, moved, cancelled."""

from __future__ import annotations

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.fields import MomentField
from commissioning.models import AnswerKind

LONGEST = 2000


class AnswerForm(RepeatSafeForm):
    """Whether somebody comes."""

    answer = forms.ChoiceField(
        label="Your answer",
        choices=[
            (AnswerKind.ACCEPTED, "I will be there"),
            (AnswerKind.DECLINED, "I will not be there"),
            (AnswerKind.OTHER_TIME, "another time would do"),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one of the answers."},
    )
    other_time = MomentField(required=False, label="Another time", help_text="By the site's clock: 2026-03-31 14:30.")
    remark = forms.CharField(
        required=False,
        label="Remark",
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )


class MoveForm(forms.Form):
    """Another time for what was announced."""

    planned_for = MomentField(label="New time", help_text="By the site's clock.")
    words = forms.CharField(
        required=False,
        label="Words",
        help_text="Where to meet, what to bring. Empty: as before.",
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )


class CancelForm(forms.Form):
    """Nobody need come."""

    reason = forms.CharField(
        label="Reason",
        max_length=LONGEST,
        error_messages={"required": "Say why it is cancelled; whoever was invited reads it."},
        widget=forms.Textarea(attrs={"rows": 2, "data-keep": ""}),
    )
