"""Who changed what: by person, table and day, with what it held before and after."""

from __future__ import annotations

from typing import cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from kits.exchange.audit.change_list import (
    DAYS_SHOWN,
    SEES_ALL,
    ChangesAsked,
    change_list,
    may_see_changes,
    sources_for,
)
from kits.exchange.audit.events import ChangeEvent
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.web.forms.storeroom import day_of
from kits.web.lists import list_answer, shown_list

CHANGES: tuple[ListColumn[ChangeEvent], ...] = (
    ListColumn("at", "When", lambda row: row.at),
    ListColumn("by", "Who", lambda row: row.by),
    ListColumn("of", "List", lambda row: row.of),
    ListColumn("done", "Did what", lambda row: row.told.done, sorts=False),
    ListColumn("named", "Of what", lambda row: row.told.named, sorts=False),
    ListColumn("before", "Before", lambda row: row.told.before, sorts=False),
    ListColumn("after", "After", lambda row: row.told.after, sorts=False),
    ListColumn("why", "Why", lambda row: row.told.why, sorts=False),
)


@require_safe
def show_who_changed(request: HttpRequest) -> HttpResponse:
    """The changes of some days; whoever keeps people sees theirs and the sign-ins as well."""
    person = cast(User, request.user)
    if not may_see_changes(person):
        raise PermissionDenied
    since, until = (day_of(request.GET.get(name, "")) for name in ("since", "until"))
    words = {name: request.GET.get(name, "").strip() for name in ("of", "by")}
    rows, sought = change_list(ChangesAsked(**words, since=since, until=until), person, today=timezone.localdate())
    if file := list_answer(request, "Who changed what", CHANGES, rows):
        return file
    context = {
        "list": shown_list(request, CHANGES, rows),
        "sought": sought,
        "sources": sources_for(person),
        "people": list(User.objects.order_by("username").values_list("username", flat=True)),
        "everything": person.has_perm(SEES_ALL),
        "days": DAYS_SHOWN,
        "as_of": timezone.localdate(),
    }
    return render(request, "web/watch/who_changed.html", context)
