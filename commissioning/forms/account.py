"""Signing in, mailed codes, and one's own password."""

from __future__ import annotations

from typing import Any

from allauth.account import forms as allauth
from allauth.usersessions.forms import ManageUserSessionsForm
from django import forms
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm

NEW_PASSWORD = "At least 12 characters; three or four words that do not belong together are easy to keep."  # noqa: S105
CODE = {"inputmode": "text", "autocapitalize": "characters", "spellcheck": "false", "autocomplete": "one-time-code"}


class Plain:
    """The library's fields with our words: labels say what to type, nothing hides in a placeholder."""

    #: Label, help and what is said when it is missing, by field.
    WORDS: dict[str, tuple[str, str, str]] = {}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():  # type: ignore[attr-defined]
            field.widget.attrs.pop("placeholder", None)
            if name in self.WORDS:
                field.label, field.help_text, field.error_messages["required"] = self.WORDS[name]


class SignInForm(Plain, allauth.LoginForm):
    """User name or address, and password, named so that a password manager knows them."""

    WORDS = {
        "login": ("User name or e-mail address", "", "Type your user name or your e-mail address."),
        "password": ("Password", "", "Type your password."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["login"].max_length = 254
        self.fields["login"].widget.attrs |= {
            "autocomplete": "username",
            "autocapitalize": "none",
            "spellcheck": "false",
            "maxlength": "254",
        }

    def add_prefix(self, field_name: str) -> str:
        """In the page the field is called what password managers look for."""
        return super().add_prefix("username" if field_name == "login" else field_name)


class MailedCodeForm(Plain, allauth.RequestLoginCodeForm):
    """Where a code to sign in with is sent."""

    WORDS = {"email": ("E-mail address", "The one that your account has.", "Type your e-mail address.")}


class TypedCodeForm(Plain, allauth.ConfirmLoginCodeForm):
    """The code out of the mail."""

    WORDS = {"code": ("Code", "It stands in the mail, and holds for ten minutes.", "Type the code out of the mail.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs |= CODE


class AskResetForm(Plain, allauth.ResetPasswordForm):
    """Where the link to a new password is sent."""

    WORDS = {"email": ("E-mail address", "The one that your account has.", "Type your e-mail address.")}


class NewPasswordForm(Plain, allauth.ResetPasswordKeyForm):
    """A new password, twice, behind the mailed link."""

    WORDS = {
        "password1": ("New password", NEW_PASSWORD, "Type the new password."),
        "password2": ("New password again", "", "Type the new password again."),
    }


class PasswordOnceMoreForm(Plain, allauth.ReauthenticateForm):
    """The password again, before the ways in are changed."""

    WORDS = {"password": ("Your password", "The one that you sign in with.", "Type your password.")}


class ChangePasswordForm(PasswordChangeForm):
    """The old password once, the new one twice."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["old_password"].label = "Password you have now"
        _new_password_words(self)


class FirstPasswordForm(SetPasswordForm):
    """A password for somebody who came in with their company's account so far."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _new_password_words(self)


def _new_password_words(form: forms.Form) -> None:
    form.fields["new_password1"].label = "New password"
    form.fields["new_password1"].help_text = NEW_PASSWORD
    form.fields["new_password2"].label = "New password again"
    form.fields["new_password2"].help_text = ""


class SignOutElsewhereForm(ManageUserSessionsForm):
    """One session, or all but this one; the tokens too when asked."""

    one = forms.IntegerField(required=False, widget=forms.HiddenInput)
    tokens = forms.BooleanField(required=False, label="Take back my tokens of the API as well")
