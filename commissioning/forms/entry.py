"""Invitations and tokens of the API."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.forms.account import NEW_PASSWORD
from commissioning.forms.member import MemberForm
from commissioning.models import TokenScope
from commissioning.services.api_tokens import LONGEST_DAYS


class InviteForm(MemberForm):
    """Somebody who is asked into the project by mail, and the place that waits for them."""

    email = forms.CharField(
        label="E-mail address",
        max_length=254,
        help_text="The invitation goes there. It holds for fourteen days and opens once.",
        error_messages={"required": "Type the e-mail address."},
        widget=forms.EmailInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
    )
    field_order = ["email", "role", "which_sites", "sites", "authorised_person", "company"]


class NewAccountForm(forms.Form):
    """An account for somebody who opened their invitation."""

    name = forms.CharField(
        label="Your name",
        max_length=120,
        help_text="As it is printed where you sign.",
        error_messages={"required": "Type your name."},
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    username = forms.CharField(
        label="User name",
        max_length=150,
        help_text="You sign in with it. Letters, digits, and . - _ @ +",
        error_messages={"required": "Choose a user name."},
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
    )
    password = forms.CharField(
        max_length=4096,
        strip=False,
        help_text=NEW_PASSWORD,
        error_messages={"required": "Choose a password."},
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="Password again",
        max_length=4096,
        strip=False,
        error_messages={"required": "Type the password again."},
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("password") and given.get("again") and given["password"] != given["again"]:
            self.add_error("again", "The two passwords differ.")
        return given


class TokenForm(forms.Form):
    """What a token is for, what it may do, where, and for how long."""

    name = forms.CharField(
        label="What uses it",
        max_length=80,
        help_text="Such as: nightly copy to the plant's archive.",
        error_messages={"required": "Write what uses it."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    scope = forms.ChoiceField(
        label="It may",
        choices=TokenScope.choices,
        initial=TokenScope.READ,
        widget=forms.RadioSelect,
        help_text="Never more than you may yourself.",
        error_messages={"required": "Choose what it may do."},
    )
    project = forms.ChoiceField(label="Where", required=False)
    days = forms.IntegerField(
        label="For how many days",
        initial=30,
        min_value=1,
        max_value=LONGEST_DAYS,
        help_text=f"1 to {LONGEST_DAYS}.",
        error_messages={
            "required": "Write a number of days.",
            "invalid": "Write a number of days, such as 30.",
            "min_value": f"A token lasts 1 to {LONGEST_DAYS} days.",
            "max_value": f"A token lasts 1 to {LONGEST_DAYS} days.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 6}),
    )

    def __init__(self, *args: Any, projects: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["project"].choices = [("", "every project of mine"), *projects]
