"""The forms of the pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms
from django.contrib.auth import authenticate
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest

from kits.exchange.files.file_guard import MOST_BYTES
from kits.people.models import User

MOST_FILES = 20
ONE_MIB = 2**20


class SeveralFilesInput(forms.ClearableFileInput):
    """A field that takes several files at once."""

    allow_multiple_selected = True


class SeveralFiles(forms.FileField):
    """One or more files, each of a size that can be read."""

    widget = SeveralFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile[bytes]]:
        """Every file, or why one cannot be taken."""
        chosen: Sequence[Any] = data if isinstance(data, list | tuple) and data else [data or None]
        if len(chosen) > MOST_FILES:
            raise ValidationError(
                f"{len(chosen)} files are more than the {MOST_FILES} taken at once: upload them in parts."
            )
        files: list[UploadedFile[bytes]] = [super(SeveralFiles, self).clean(file, initial) for file in chosen]
        total = sum(file.size or 0 for file in files)
        if total > MOST_BYTES:
            raise ValidationError(
                f"The files have {total // ONE_MIB} MB, more than the {MOST_BYTES // ONE_MIB} that are read at once: "
                "upload them one by one, or split the workbook by sheet."
            )
        return files


class SignInForm(AuthenticationForm):
    """Name and password, refused in the site's own words."""

    username = UsernameField(
        widget=forms.TextInput(attrs={"autofocus": True}),
        error_messages={"required": "No name was given: write it."},
    )
    password = forms.CharField(
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={"required": "No password was given: write it."},
    )
    error_messages = AuthenticationForm.error_messages | {
        "invalid_login": "Nobody has this name with this password: check both, for capital and small letters differ.",
        "inactive": "This name may not sign in any more: ask whoever looks after the people of this site.",
    }


class PasswordForm(forms.Form):
    """The old password, and the new one twice; wrong old ones count as wrong passwords at signing in do."""

    old_password = forms.CharField(
        label="Your present password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "autofocus": True}),
    )
    new_password = forms.CharField(
        label="New password, 10 characters or more",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    password_again = forms.CharField(
        label="New password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, request: HttpRequest, *args: Any) -> None:
        super().__init__(*args)
        self.request, self.person = request, cast(User, request.user)

    def clean_old_password(self) -> str:
        """The old password, if it is the right one."""
        typed = str(self.cleaned_data["old_password"])
        name = self.person.get_username()
        if authenticate(self.request, username=name, password=typed) != self.person:
            raise ValidationError("This is not your present password: write it again.")
        return typed

    def clean_new_password(self) -> str:
        """The new password, if it is one that is not easily guessed."""
        typed = str(self.cleaned_data["new_password"])
        validate_password(typed, self.person)
        if typed == self.data.get("old_password"):
            raise ValidationError("This is your present password: choose another.")
        return typed

    def clean_password_again(self) -> str:
        """The new password once more."""
        typed = str(self.cleaned_data["password_again"])
        if typed != self.data.get("new_password"):
            raise ValidationError("The two differ: write the new password twice alike.")
        return typed


class UploadForm(forms.Form):
    """Lists to bring in."""

    lists = SeveralFiles(
        error_messages={
            "required": "No file was chosen: choose a workbook (.xlsx), or .csv files named after their sheet.",
            "empty": "The file is empty: save or copy it again, then upload it.",
        }
    )


class NoticesForm(forms.Form):
    """What somebody wants to be told by e-mail."""

    morning = forms.BooleanField(label="Each morning: what waits for me", required=False)
    promises = forms.BooleanField(label="An order that has not come on its promised day", required=False)
    suspects = forms.BooleanField(label="A lot that is put under suspicion", required=False)
    email = forms.EmailField(
        label="Send it to",
        max_length=254,
        required=False,
        error_messages={"invalid": "This is no e-mail address: write it like name@shop.example."},
    )

    def clean(self) -> dict[str, Any]:
        """Whoever wants a notice says where it goes."""
        said = super().clean() or {}
        if (
            "email" in said
            and not said["email"]
            and any(said.get(name) for name in ("morning", "promises", "suspects"))
        ):
            self.add_error("email", "No address was given: write where the notices go, or choose none of them.")
        return said
