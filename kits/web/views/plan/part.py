"""The sheet of one part, assembly or kit."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.picking.cautions.alike_parts import AlikeParts
from kits.planning.queries import plan_now
from kits.planning.sheets.items.kit import kit_sheet
from kits.planning.sheets.items.part import PartSheet, find_item, part_sheet
from kits.planning.sheets.items.uses import UsedIn, uses_sheet
from kits.purchasing.ends.queries import ends
from kits.stock.lists.movements import item_movements
from kits.stock.packed_kits.kit_lots import kit_lots
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan

MOVEMENTS_SHOWN = 8
USES: tuple[ListColumn[UsedIn], ...] = (
    ListColumn("part", "Held by", lambda row: row.part_number),
    ListColumn("quantity", "How many in one", lambda row: row.amount, figure=True),
    ListColumn("position", "Place", lambda row: row.position),
    ListColumn("rebuild", "At a rebuild", lambda row: row.at_rebuild),
    ListColumn("only", "Only if", lambda row: row.only_if),
)
SHEETS = {"kit": "kit", "pump": "pump", "part": "part", "assembly": "part"}


@require_safe
@needs_plan
def show_part(request: HttpRequest, part_number: str) -> HttpResponse:
    """A part or an assembly: its lots, where it is used, needed against in hand."""
    item = item_or_404(part_number)
    if SHEETS[item.kind] != "part":
        return redirect(SHEETS[item.kind], part_number=item.part_number)
    plan = plan_now()
    sheet = part_sheet(plan, item)
    return render(request, "web/part.html", {"sheet": sheet, **around(request, sheet)})


@require_safe
@needs_plan
def show_kit(request: HttpRequest, part_number: str) -> HttpResponse:
    """A kit: does it fit, how many can be packed, and all that a part's sheet says."""
    item = item_or_404(part_number)
    if SHEETS[item.kind] != "kit":
        return redirect(SHEETS[item.kind], part_number=item.part_number)
    plan = plan_now()
    sheet, kit = part_sheet(plan, item), kit_sheet(plan, item.part_number)
    context = {
        "sheet": sheet,
        "kit": kit,
        "here": kit_lots(today=plan.shop.as_of, kit=item),
    }
    return render(request, "web/kit.html", {**context, **around(request, sheet)})


@require_safe
@needs_plan
def show_uses(request: HttpRequest, part_number: str) -> HttpResponse:
    """Everything that holds an item, where its own sheet shows the first of it."""
    sheet = uses_sheet(plan_now(), item_or_404(part_number))
    if (file := list_answer(request, f"Where {sheet.part_number} is used", USES, sheet.lines)) is not None:
        return file
    shown = shown_list(request, USES, sheet.lines)
    context = {"sheet": sheet, "list": shown, "as_of": sheet.as_of, "door": "pumps_and_parts"}
    return render(request, "web/uses.html", context)


def around(request: HttpRequest, sheet: PartSheet) -> dict[str, Any]:
    """What stands around the sheet of a part: its look-alikes, the money, what the reader may do."""
    return {
        "end_says": "; ".join(end.says(sheet.as_of) for end in ends([sheet.item.part_number]).values()),
        "alike": AlikeParts().of(sheet.item.part_number),
        "movements": item_movements(sheet.item, MOVEMENTS_SHOWN),
        "may_pack": request.user.has_perm("stock.add_posting"),
        "as_of": sheet.as_of,
        "door": "pumps_and_parts",
        "currency": read_settings().currency,
    }


def item_or_404(part_number: str) -> Item:
    """The item with this number, however it is spelled."""
    item = find_item(part_number)
    if item is None:
        raise Http404(f"There is no part numbered “{part_number}”.")
    return item
