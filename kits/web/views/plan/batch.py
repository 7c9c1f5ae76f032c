"""The sheets of one batch."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.queries import plan_now
from kits.planning.questions.shelf_answer import shelf_of_batch
from kits.planning.sheets.batch import BatchKits, KindTotal, advice_says, batch_advice, batch_kits, batch_sheet
from kits.planning.sheets.schedule import find_batch
from kits.schedule.change_list import ChangeRow, changes_in
from kits.schedule.models import Batch
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shortages import Door, shortage_doors
from kits.web.views.plan.shown import plan_shown

SHEETS = {
    "advice": "What could be done",
    "kits": "Kits",
    "kinds": "Sure needs by kind",
    "changes": "What was changed by hand",
}
KINDS: tuple[ListColumn[KindTotal], ...] = (
    ListColumn("kind", "Kind", lambda row: row.kind),
    ListColumn("numbers", "Numbers", lambda row: row.numbers, figure=True),
    ListColumn("needed", "Needed", lambda row: row.needed, figure=True),
    ListColumn("short", "Short", lambda row: row.short, figure=True),
)

CHANGES: tuple[ListColumn[ChangeRow], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("at", "When", lambda row: row.at),
    ListColumn("by", "By", lambda row: row.by),
    ListColumn("what", "What", lambda row: "; ".join(row.says)),
    ListColumn("why", "Why", lambda row: row.why),
)


@require_safe
@needs_plan
def show_batch(request: HttpRequest, batch: str) -> HttpResponse:
    """What holds each pump of a batch, and the ways to its further sheets."""
    plan, being_renewed = plan_shown(request)
    sheet = batch_sheet(plan, batch_or_404(batch).name)
    context = {
        "sheet": sheet,
        "sheets": (*batch_doors(sheet.batch, batch_kits(plan, sheet.batch)), *shortage_doors(sheet.short)),
        "may_send": request.user.has_perm("picking.add_sentjob"),
        "as_of": sheet.as_of,
        "being_renewed": being_renewed,
        "door": "schedule",
        "currency": read_settings().currency,
    }
    return render(request, "web/batch.html", context)


@require_safe
@needs_plan
def show_batch_sheet(request: HttpRequest, sheet: str, batch: str) -> HttpResponse:
    """A further sheet of a batch: what could be done, its kits, its needs by kind of part, or what was changed."""
    found = batch_or_404(batch)
    if sheet not in SHEETS:
        raise Http404(f"A batch has no sheet “{sheet}”.")
    plan, being_renewed = plan_shown(request)
    kits = batch_kits(plan, found.name)
    doors = batch_doors(found.name, kits, sheet)
    here = doors[list(SHEETS).index(sheet)]
    context: dict[str, Any] = {"batch": found.name, "sheets": doors, "here": here, "which": sheet}
    if sheet == "advice":
        context |= {"advice": batch_advice(plan, found.name), "says": advice_says(plan, found.name)}
    elif sheet == "changes":
        changes = changes_in(found)
        if file := list_answer(request, f"Changed by hand {found.name}", CHANGES, changes):
            return file
        context["list"] = shown_list(request, CHANGES, changes)
    elif sheet == "kits":
        context["kits"] = kits
    else:
        if file := list_answer(request, f"Needs by kind {found.name}", KINDS, kits.by_kind):
            return file
        context["list"] = shown_list(request, KINDS, kits.by_kind)
    context |= {"as_of": plan.shop.as_of, "being_renewed": being_renewed, "door": "schedule"}
    return render(request, "web/batch_sheet.html", {**context, "currency": read_settings().currency})


def batch_doors(batch: str, kits: BatchKits, here: str = "") -> tuple[Door, ...]:
    """The ways to the sheets of a batch that are not lists of its shortages."""
    counts = {"kits": len(kits.kits), "kinds": len(kits.by_kind)}
    return tuple(
        Door(says, reverse("batch_sheet", args=(name, batch)), counts.get(name), name == here)
        for name, says in SHEETS.items()
    )


@require_safe
@needs_plan
def show_shelf(request: HttpRequest, batch: str) -> HttpResponse:
    """What today's shelf can finish of a batch, where it takes too long to stand on the batch's own sheet."""
    found, plan = batch_or_404(batch), plan_now()
    context = {"shelf": shelf_of_batch(plan, found.name), "batch": found.name, "as_of": plan.shop.as_of}
    return render(request, "web/shelf.html", {**context, "door": "schedule"})


def batch_or_404(batch: str) -> Batch:
    """The batch of this name, however it is spelled."""
    found = find_batch(batch)
    if found is None:
        raise Http404(f"There is no batch named “{batch}”.")
    return found
