"""Forms of one's account."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from bible.accounts.codes import matching_step, tidied

MOST_LETTERS = 40
"""Of a code: a recovery code with its hyphens has 19."""


def code_field(help_text: str, *, label: str = "Code") -> forms.CharField:
    attributes = {"autocomplete": "one-time-code", "spellcheck": "false", "class": "code-typed"}
    return forms.CharField(
        label=label, max_length=MOST_LETTERS, help_text=help_text, widget=forms.TextInput(attrs=attributes)
    )


class SlowedSignInForm(AuthenticationForm):
    """After too many wrong passwords: whoever has a second factor need not wait, but says both at once."""

    code = code_field("Of your device, or a recovery code. Only for accounts that have a second factor.")


class CodeForm(forms.Form):
    """The second step of signing in."""

    code = code_field("The six digits that your device shows now, or one of your recovery codes.")


class OwnPasswordForm(forms.Form):
    """Asks whose account it is for the password: the screen may have been left open."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        self.user = user
        super().__init__(*args, **kwargs)

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        if not self.user.check_password(password):
            raise ValidationError("This is not your password.", code="wrong")
        return password


class SetUpForm(OwnPasswordForm):
    """The first code shows that the device has the secret. ``step`` is then its step of time."""

    code = code_field("The six digits that your device shows now.", label="First code")

    def __init__(self, user: User, key: bytes, *args: Any, **kwargs: Any) -> None:
        self.key, self.step = key, 0
        super().__init__(user, *args, **kwargs)

    def clean_code(self) -> str:
        code = tidied(self.cleaned_data["code"])
        step = matching_step(self.key, code)
        if step is None:
            raise ValidationError(
                "This is not what the device should show now. Is its clock right, and was the picture read anew?",
                code="wrong",
            )
        self.step = step
        return code


class ForgottenForm(forms.Form):
    """Where a letter with a link is to go."""

    email = forms.EmailField(
        label="Your e-mail address", max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
