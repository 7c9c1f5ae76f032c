"""The shortages, list by list, and their workbook."""

from __future__ import annotations

from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.planning.questions.stand_ins import short_part_notes
from kits.planning.sheets.shortages import ShortageSheet, shortage_sheet
from kits.web.lists import TALL_ROWS_PER_PAGE, list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shortage_lists import LISTS, ShortageList
from kits.web.views.plan.shown import plan_shown
from kits.web.views.plan.workbook import asked_for


@dataclass(frozen=True, slots=True)
class Door:
    """The way to one sheet of several, with how many rows it holds where that is known."""

    says: str
    to: str
    count: int | None
    here: bool = False


@require_safe
@needs_plan
def show_shortages(request: HttpRequest, sheet: str = "buy") -> HttpResponse:
    """One list of what is short, late or overdue, for the shop or for one batch, for all suppliers or one."""
    here = next((one for one in LISTS if one.name == sheet), None)
    if here is None:
        raise Http404(f"The shortages have no sheet “{sheet}”.")
    batch, supplier = asked_for(request)
    plan, being_renewed = plan_shown(request)
    short, currency = shortage_sheet(plan, batch=batch, supplier=supplier), read_settings().currency
    columns = tuple(
        replace(one, heading=f"{one.heading}, {currency}") if one.name == "price" and currency else one
        for one in here.columns
    )
    rows = here.rows_of(short)
    file = list_answer(request, f"Shortages {sheet} {batch}".strip(), (*columns, *here.more), rows)
    if file is not None:
        return file
    context = {
        "may_ask": request.user.has_perm("purchasing.add_pricerequest"),
        "sheet": short,
        "here": here,
        "number": LISTS.index(here) + 1,
        "address": shortage_address(here.name),
        "sheets": shortage_doors(short, here),
        "list": shown_list(request, columns, rows, TALL_ROWS_PER_PAGE, more=here.more),
        "whole": here.whole_of(short),
        "as_of": short.as_of,
        "being_renewed": being_renewed,
        "door": "shortages",
        "currency": currency,
        "notes": short_part_notes(plan) if here.more else {},
    }
    return render(request, "web/shortages.html", context)


def shortage_address(name: str) -> str:
    """Where one list of the shortages stands."""
    return reverse("shortages") if name == LISTS[0].name else reverse("shortage_list", args=(name,))


def shortage_doors(short: ShortageSheet, here: ShortageList | None = None) -> tuple[Door, ...]:
    """The ways to every list of the shortages."""
    asked = urlencode([pair for pair in (("batch", short.batch), ("supplier", short.supplier)) if pair[1]])
    return tuple(
        Door(one.title, f"{shortage_address(one.name)}?{asked}".rstrip("?"), len(one.rows_of(short)), one is here)
        for one in LISTS
    )
