"""A comment on a dossier, where it goes on the punch list, and an answer to it."""

from __future__ import annotations

from django import forms

from commissioning.forms.base import RepeatSafeForm
from punchlist.forms.items import CATEGORY_ERROR, TagField
from punchlist.models import Category
from punchlist.services.comments import COMMENT_LIMIT


def _words(label: str, required: str) -> forms.CharField:
    return forms.CharField(
        label=label,
        max_length=COMMENT_LIMIT,
        widget=forms.Textarea(attrs={"rows": 3, "data-keep": "", "autocomplete": "off"}),
        error_messages={"required": required},
    )


class CommentForm(RepeatSafeForm):
    text = _words("Your comment", "Say what is to be looked at, in a few words.")
    tag = TagField(required=False, help_text="Of the equipment or system that it is about, if you know it.")


class PutForm(RepeatSafeForm):
    """The tag stands there already as far as it is known; the button that is pressed is the category."""

    tag = TagField()
    category = forms.ChoiceField(choices=Category.choices, widget=forms.HiddenInput, error_messages=CATEGORY_ERROR)


class AnswerForm(forms.Form):
    answer = _words("Or answer: why nothing is left to do", "Say why nothing is left to do.")
