"""What the back office does alike for every table: it marks the records as changed and keeps who changed them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, cast

from django.contrib import admin, messages
from django.contrib.admin import actions
from django.db import models
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils import timezone

from kits.catalog.back_office.actions import delete_rows
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.folding import without_turns
from kits.catalog.history.pages import HistoryAdmin
from kits.catalog.history.versions import keep_versions, rows_of, rows_to_go
from kits.people.back_office import LONGEST_WHY, WHY, RecordForm
from kits.people.models import User

if TYPE_CHECKING:
    TabularInline = admin.TabularInline[Any, Any]
else:
    TabularInline = admin.TabularInline

SAY_WHY = "Nothing was deleted: write why, so that those who look for it later understand, then confirm again."


class RecordAdmin(HistoryAdmin):
    """A table that is edited in the back office: every write marks the records as changed first, and is told."""

    of_catalog: ClassVar[bool] = False
    form = RecordForm
    actions = ("delete_selected",)
    delete_confirmation_template = "catalog/delete.html"
    delete_selected_confirmation_template = "catalog/delete_selected.html"
    change_list_template = "catalog/change_list.html"

    def get_fields(self, request: HttpRequest, obj: Any = None) -> list[Any]:
        """The columns; whoever only looks is asked for no reason."""
        names = list(super().get_fields(request, obj))
        may_write = self.has_change_permission(request, obj) if obj else True
        return names if may_write else [name for name in names if name != WHY]

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Store a record."""
        self._mark()
        before = rows_of(self.model, [obj.pk]) if change else {}
        super().save_model(request, obj, form, change)
        self._keep(request, self.model, before, rows_of(self.model, [obj.pk]), form.cleaned_data.get(WHY, ""))

    def save_formset(self, request: HttpRequest, form: Any, formset: Any, change: bool) -> None:
        """Store the rows below a record."""
        self._mark()
        model = formset.model
        before = rows_of(model, [row.instance.pk for row in formset.initial_forms])
        super().save_formset(request, form, formset, change)
        after = rows_of(model, [*before, *(row.pk for row in formset.new_objects)])
        self._keep(request, model, before, after, form.cleaned_data.get(WHY, ""))

    def delete_view(
        self, request: HttpRequest, object_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Delete a record once somebody has said why."""
        if request.method == "POST" and not _why(request):
            messages.error(request, SAY_WHY)
            return HttpResponseRedirect(request.get_full_path())
        return super().delete_view(request, object_id, extra_context)

    def delete_model(self, request: HttpRequest, obj: Any) -> None:
        """Delete a record."""
        self._mark()
        going = rows_to_go(self.model._default_manager.filter(pk=obj.pk))
        super().delete_model(request, obj)
        for model, rows in going.items():
            self._keep(request, model, rows, {}, _why(request))

    @admin.action(permissions=["delete"], description="Delete selected %(verbose_name_plural)s")
    def delete_selected(self, request: HttpRequest, queryset: models.QuerySet[Any]) -> HttpResponse | None:
        """Delete the chosen records once somebody has said why."""
        confirmed = bool(request.POST.get("post"))
        if confirmed and not _why(request):
            messages.error(request, SAY_WHY)
            said = request.POST.copy()
            del said["post"]
            request.POST = cast("Any", said)
        return cast("HttpResponse | None", actions.delete_selected(self, request, queryset))

    def delete_queryset(self, request: HttpRequest, queryset: models.QuerySet[Any]) -> None:
        """Delete the chosen records."""
        delete_rows(
            rows=queryset,
            of_catalog=self.of_catalog,
            by=cast("User", request.user),
            at=timezone.now(),
            why=_why(request),
        )

    def _mark(self) -> None:
        if self.of_catalog:
            mark_catalog()
        else:
            mark_shop()

    def _keep(self, request: HttpRequest, model: Any, before: Any, after: Any, why: str) -> None:
        keep_versions(model, before, after, by=cast("User", request.user), at=timezone.now(), why=why)


class CatalogAdmin(RecordAdmin):
    """A table of the catalog."""

    of_catalog = True


def _why(request: HttpRequest) -> str:
    return without_turns(request.POST.get(WHY, "")).strip()[:LONGEST_WHY]
