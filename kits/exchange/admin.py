"""Files out of the back office: each of its lists can be taken away as it is shown, and leads to the checked upload.

django-import-export carries the rows; what it would write itself is written by our own writers, so that no text
becomes a formula. Its import is not offered: a list comes in by the upload, which checks every row against the others.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from django.apps import apps
from django.contrib import admin
from django.contrib.admin.utils import label_for_field, lookup_field
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from import_export.admin import ExportMixin
from import_export.fields import Field
from import_export.formats.base_formats import JSON, Format
from import_export.forms import ExportForm
from import_export.resources import ModelResource

from kits.catalog.back_office.records import RecordAdmin
from kits.exchange.sheets.registry import sheet_of_model
from kits.exchange.workbooks.list_export import ListColumn, list_as_csv, list_as_workbook
from kits.people.back_office import ReadOnlyAdmin

if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Any]
else:
    ModelAdmin = object


class ShownField(Field):  # type: ignore[misc]
    """A column of the list, as the back office shows it."""

    def __init__(self, name: str, site: admin.ModelAdmin[Any]) -> None:
        super().__init__(attribute=name, column_name=str(label_for_field(name, site.model, site)))
        self._name, self._site = name, site

    def __deepcopy__(self, memo: Any) -> ShownField:
        # A resource copies its fields for each use; this one is never changed, and the back office is not copied.
        return self

    def export(self, instance: Model, **kwargs: Any) -> Any:
        """What the list shows of one row: dates, numbers and yes or no as such, everything else as its words."""
        field, _, value = lookup_field(self._name, instance, self._site)
        if choices := getattr(field, "flatchoices", None):
            value = dict(choices).get(value, value)
        return str(value) if isinstance(value, Model | Promise) else value


class _WrittenHere(Format):  # type: ignore[misc]
    """A file that is written by our own writer."""

    title: ClassVar[str]
    extension: ClassVar[str]
    content_type: ClassVar[str]

    def get_title(self) -> str:
        return self.title

    def get_extension(self) -> str:
        return self.extension

    def get_content_type(self) -> str:
        return self.content_type

    def can_export(self) -> bool:
        return True

    @staticmethod
    def columns(dataset: Any) -> list[ListColumn[Any]]:
        """The columns of the rows."""
        return [
            ListColumn(heading, heading, lambda row, place=place: _plain(row[place]))  # type: ignore[misc]
            for place, heading in enumerate(dataset.headers)
        ]


class WorkbookFile(_WrittenHere):
    """A workbook."""

    title, extension = "Workbook (.xlsx)", "xlsx"
    content_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

    def export_data(self, dataset: Any, **kwargs: Any) -> bytes:
        """Write the rows."""
        return list_as_workbook("List", self.columns(dataset), dataset)


class TextFile(_WrittenHere):
    """Comma-separated text."""

    title, extension, content_type = "Comma-separated text (.csv)", "csv", "text/csv; charset=utf-8"

    def export_data(self, dataset: Any, **kwargs: Any) -> bytes:
        """Write the rows."""
        return list_as_csv(self.columns(dataset), dataset)


class ListAdmin(ExportMixin, ModelAdmin):  # type: ignore[misc]
    """A list of the back office that goes out as a file, and in by the upload."""

    formats = (WorkbookFile, TextFile, JSON)
    export_form_class = ExportForm
    export_template_name = "exchange/export_list.html"
    import_export_change_list_template = "exchange/change_list.html"

    def get_export_formats(self) -> list[type[Format]]:
        """The kinds of file."""
        return list(self.formats)

    def get_export_resource_classes(self, request: HttpRequest) -> list[type[ModelResource]]:
        """The columns that the list shows."""
        names = [name for name in self.get_list_display(request) if isinstance(name, str)]
        meta = type("Meta", (), {"model": self.model, "fields": names, "export_order": names})
        columns = {name: ShownField(name, self) for name in names}
        return [type("ShownColumns", (ModelResource,), {**columns, "Meta": meta})]

    def changelist_view(self, request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:
        """The list, with the sheet by which it is brought in, if it has one."""
        sheet = sheet_of_model(self.model)
        return super().changelist_view(request, {**(extra_context or {}), "sheet": sheet.name if sheet else ""})


def _plain(value: Any) -> Any:
    """A value as our writers take it."""
    return "" if value is None else ("yes" if value else "no") if isinstance(value, bool) else value


def let_lists_go_out() -> None:
    """Give every list of the shop's own tables its files."""
    for model in apps.get_models():
        if not model.__module__.startswith("kits.") or not admin.site.is_registered(model):
            continue
        kind = type(admin.site.get_model_admin(model))
        if issubclass(kind, RecordAdmin | ReadOnlyAdmin):
            admin.site.unregister(model)
            admin.site.register(model, type(kind.__name__, (ListAdmin, kind), {}))


let_lists_go_out()
