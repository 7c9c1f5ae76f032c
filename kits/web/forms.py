"""The forms of the pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

from kits.exchange.reading.file_guard import MOST_BYTES

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


class UploadForm(forms.Form):
    """Lists to bring in."""

    lists = SeveralFiles(
        error_messages={
            "required": "No file was chosen: choose a workbook (.xlsx), or .csv files named after their sheet.",
            "empty": "The file is empty: save or copy it again, then upload it.",
        }
    )
