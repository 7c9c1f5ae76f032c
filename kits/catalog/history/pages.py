"""The pages that tell who changed an entry of the back office: what it held before and after, when and why.

They are looked at only. Nothing is put back from here: what is to stand again is entered again, and so marked and
told like any other change.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.template.response import TemplateResponse
from django.urls import URLPattern, path
from django.utils import formats, timezone
from django.utils.text import capfirst

from kits.catalog.fields import QuantityField, quantity_text
from kits.catalog.history.versions import ADDED, CHANGED, DELETED, keeps_versions, versions_of
from kits.people.names import name_of

if TYPE_CHECKING:

    class SimpleHistoryAdmin(admin.ModelAdmin[Any]):
        """An admin with a page of past versions."""

        history_list_per_page: int

        def history_form_view(
            self, request: HttpRequest, object_id: str, version_id: str, extra_context: dict[str, Any] | None = None
        ) -> HttpResponse: ...
        def history_view_title(self, request: HttpRequest, obj: Any) -> str: ...
        def revert_disabled(self, request: HttpRequest, obj: Any = None) -> bool: ...
        def has_view_history_or_change_history_permission(self, request: HttpRequest, obj: Any = None) -> bool: ...
        def set_history_delta_changes(
            self, request: HttpRequest, historical_records: Any, foreign_keys_are_objs: bool = True
        ) -> None: ...
else:
    from simple_history.admin import SimpleHistoryAdmin

BLANK = "–"
_DONE = {ADDED: "added", CHANGED: "changed", DELETED: "deleted"}


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One column of a row that was changed, as people read it."""

    label: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One version of a row: who made it from the one before, when, why, and what that changed."""

    version: int
    row: int
    at: datetime
    who: str
    done: str
    why: str
    named: str
    elsewhere: bool
    first: bool
    changes: tuple[FieldChange, ...]


class HistoryAdmin(SimpleHistoryAdmin):
    """A table whose entries have a page that tells who changed them."""

    object_history_template = "catalog/history.html"

    def get_urls(self) -> list[URLPattern]:
        """The pages of the table, and the list of what was deleted from it."""
        deleted = self.admin_site.admin_view(self.deleted_view)
        name = f"{self.opts.app_label}_{self.opts.model_name}_deleted"
        return [path("deleted/", deleted, name=name), *super().get_urls()]

    def history_view(
        self, request: HttpRequest, object_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """What became of one entry, the latest first; also of one that is no longer there."""
        if not object_id.isdecimal():
            raise Http404
        key = int(object_id)
        last = versions_of(self.model).filter(id=key).first()
        below = [
            (capfirst(str(inline.model._meta.verbose_name_plural)), entries_of(inline.model, {f"{link}_id": key}))
            for inline in self.inlines
            if keeps_versions(inline.model)
            for link in [_link(inline.model, self.model)]
        ]
        facts = {
            "named": self.model._base_manager.filter(pk=key).first() or (last.named if last else ""),
            "is_there": self.model._base_manager.filter(pk=key).exists(),
            "below": [(title, entries) for title, entries in below if entries],
        }
        return super().history_view(request, object_id, {**facts, **(extra_context or {})})

    def history_view_title(self, request: HttpRequest, obj: Any) -> str:
        """A title that asks nothing of rows that may be gone."""
        return "Who changed this"

    def set_history_delta_changes(
        self, request: HttpRequest, historical_records: Any, foreign_keys_are_objs: bool = True
    ) -> None:
        """Say of each version on the page what it changed in the one before, the last of the page included."""
        shown = list(historical_records.object_list)
        if not shown:
            return
        oldest = shown[-1]
        before = versions_of(self.model).filter(id=oldest.id, history_id__lt=oldest.history_id).first()
        historical_records.entries = make_entries(self.model, shown, before)

    def revert_disabled(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is put back from the history."""
        return True

    def history_form_view(
        self, request: HttpRequest, object_id: str, version_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """One version whole, to be read."""
        if request.method not in {"GET", "HEAD"}:
            return HttpResponseNotAllowed(["GET"])
        found = object_id.isdecimal() and version_id.isdecimal()
        version = versions_of(self.model).filter(id=object_id, history_id=version_id).first() if found else None
        if version is None:
            raise Http404
        self._refuse_strangers(request)
        fields = [field for field in self.model._meta.concrete_fields if field.editable and not field.primary_key]
        context = {
            **self._context(request, f"{version.named} as it stood"),
            "entry": make_entries(self.model, [version], None)[0],
            "values": [(_label(field), show_value(field, getattr(version, field.attname))) for field in fields],
        }
        return TemplateResponse(request, "catalog/version.html", context)

    def deleted_view(self, request: HttpRequest) -> HttpResponse:
        """What was deleted by hand from this table, the latest first."""
        self._refuse_strangers(request)
        gone = versions_of(self.model).filter(history_type=DELETED).select_related("history_user")
        page = Paginator(gone, self.history_list_per_page).get_page(request.GET.get("p"))
        entries = [_entry(version, (), first=False) for version in page.object_list]
        title = f"Deleted {self.opts.verbose_name_plural}"
        return TemplateResponse(
            request, "catalog/deleted.html", {**self._context(request, title), "page": page, "entries": entries}
        )

    def _context(self, request: HttpRequest, title: str) -> dict[str, Any]:
        return {**self.admin_site.each_context(request), "title": title, "opts": self.opts}

    def _refuse_strangers(self, request: HttpRequest) -> None:
        if not self.has_view_history_or_change_history_permission(request):
            raise PermissionDenied


def entries_of(model: type[models.Model], which: dict[str, Any]) -> list[HistoryEntry]:
    """The entries of rows that hang on another, the latest first."""
    versions = list(versions_of(model).filter(**which).select_related("history_user"))
    rows: dict[Any, list[Any]] = {}
    for version in versions:
        rows.setdefault(version.id, []).append(version)
    made = [entry for found in rows.values() for entry in make_entries(model, found, None)]
    return sorted(made, key=lambda entry: (entry.at, entry.version), reverse=True)


def make_entries(model: type[models.Model], versions: Iterable[Any], before: Any) -> list[HistoryEntry]:
    """The entries of one row's versions, which come the latest first; ``before`` is the one before the last of them."""
    latest_first = [*versions, before]
    return [
        _entry(version, _changes(model, older, version), first=older is None)
        for version, older in pairwise(latest_first)
        if version is not None
    ]


def show_value(field: models.Field[Any, Any], value: Any) -> str:
    """A stored value as people read it; what a key names is found among the rows, else among past versions."""
    if value is None or value == "":
        return BLANK
    if isinstance(field, models.ForeignKey):
        return _show_named(field, value)
    if field.flatchoices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(field, QuantityField):
        return quantity_text(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return format(value.normalize(), "f")
    return formats.date_format(value) if isinstance(value, date) else str(value)


def _show_named(field: models.ForeignKey[Any, Any], key: Any) -> str:
    model: type[models.Model] = field.related_model
    if row := model._base_manager.filter(pk=key).first():
        return str(row)
    last = versions_of(model).filter(id=key).first() if keeps_versions(model) else None
    return f"{last.named} (deleted)" if last else f"{model._meta.verbose_name} {key} (deleted)"


def _changes(model: type[models.Model], before: Any, after: Any) -> tuple[FieldChange, ...]:
    if before is None or before.history_type == DELETED or after.history_type == DELETED:
        return ()
    changed = set(after.diff_against(before).changed_fields)
    return tuple(
        FieldChange(
            _label(field),
            show_value(field, getattr(before, field.attname)),
            show_value(field, getattr(after, field.attname)),
        )
        for field in model._meta.concrete_fields
        if field.name in changed
    )


def _entry(version: Any, changes: tuple[FieldChange, ...], *, first: bool) -> HistoryEntry:
    return HistoryEntry(
        version=version.history_id,
        row=version.id,
        at=timezone.localtime(version.history_date),
        who=name_of(version.history_user),
        done=_DONE[version.history_type],
        why=version.history_change_reason,
        named=version.named,
        elsewhere=version.elsewhere,
        first=first,
        changes=changes,
    )


def _label(field: models.Field[Any, Any]) -> str:
    return str(capfirst(str(field.verbose_name)))


def _link(model: type[models.Model], to: type[models.Model]) -> str:
    return next(field.name for field in model._meta.concrete_fields if field.related_model is to)
