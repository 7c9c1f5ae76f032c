"""What every page of the back office shares: a reason for each change, and tables that are only looked at."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import admin
from django.contrib.admin import widgets
from django.http import HttpRequest

if TYPE_CHECKING:
    ModelForm = forms.ModelForm[Any]
    ModelAdmin = admin.ModelAdmin[Any]
else:
    ModelForm = forms.ModelForm
    ModelAdmin = admin.ModelAdmin

WHY = "why"
LONGEST_WHY = 500


class RecordForm(ModelForm):
    """An entry, and why it is changed."""

    why = forms.CharField(
        label="Reason for the change",
        max_length=LONGEST_WHY,
        required=False,
        widget=widgets.AdminTextInputWidget,
        help_text="Stands in the history of the entry, beside your name and what it held before.",
        error_messages={"required": "Write why the entry is changed: it stands in its history."},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if WHY in self.fields:
            self.fields[WHY].required = self.instance.pk is not None

    @cached_property
    def changed_data(self) -> list[str]:
        """What of the entry was changed; the reason is no part of it."""
        return [name for name in super().changed_data if name != WHY]


class ReadOnlyAdmin(ModelAdmin):
    """A table that is looked at: what changes it is done on the pages of the shop."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Nothing is added by hand."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is changed by hand."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is deleted by hand."""
        return False
