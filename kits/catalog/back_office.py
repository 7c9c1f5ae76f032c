"""What the back office does alike for every table: it marks the records as changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar

from django import forms
from django.contrib import admin
from django.db import models
from django.http import HttpRequest

from kits.catalog.revisions import mark_catalog, mark_shop

if TYPE_CHECKING:
    ModelForm = forms.ModelForm[Any]
    ModelAdmin = admin.ModelAdmin[Any]
    TabularInline = admin.TabularInline[Any, Any]
else:
    ModelForm = forms.ModelForm
    ModelAdmin = admin.ModelAdmin
    TabularInline = admin.TabularInline


class RecordAdmin(ModelAdmin):
    """A table that is edited in the back office: every write marks the records as changed first."""

    mark: ClassVar[Callable[[], None]] = staticmethod(mark_shop)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Store a record."""
        type(self).mark()
        super().save_model(request, obj, form, change)

    def save_formset(self, request: HttpRequest, form: Any, formset: Any, change: bool) -> None:
        """Store the rows below a record."""
        type(self).mark()
        super().save_formset(request, form, formset, change)

    def delete_model(self, request: HttpRequest, obj: Any) -> None:
        """Delete a record."""
        type(self).mark()
        super().delete_model(request, obj)

    def delete_queryset(self, request: HttpRequest, queryset: models.QuerySet[Any]) -> None:
        """Delete the chosen records."""
        type(self).mark()
        super().delete_queryset(request, queryset)


class CatalogAdmin(RecordAdmin):
    """A table of the catalog."""

    mark = staticmethod(mark_catalog)


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
