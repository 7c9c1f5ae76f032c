"""How sure were we: the cover of wear that was planned against what was found, over all and by part."""

from __future__ import annotations

from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.desk.how_sure import PartRow, how_sure
from kits.planning.queries import plan_now
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan


def tenths(figure: float) -> Decimal:
    """A figure to one place."""
    return Decimal(str(round(figure, 1)))


PARTS: tuple[ListColumn[PartRow], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("sure", "Wanted, in 100", lambda row: tenths(row.how_sure), figure=True),
    ListColumn("lists", "Lists", lambda row: row.lists, figure=True),
    ListColumn("enough", "Were enough", lambda row: row.enough, figure=True),
    ListColumn("said", "Said, in 100", lambda row: tenths(row.said), figure=True),
    ListColumn("share", "Came, in 100", lambda row: tenths(row.share), figure=True),
    ListColumn("positions", "Pieces looked at", lambda row: row.positions, figure=True),
    ListColumn("expected", "Expected", lambda row: tenths(row.expected), figure=True),
    ListColumn("planned", "Planned", lambda row: row.planned, figure=True),
    ListColumn("found", "Found worn", lambda row: row.found, figure=True),
)


@require_safe
@needs_plan
def show_how_sure(request: HttpRequest) -> HttpResponse:
    """Of the lists said to be enough, how many were."""
    plan = plan_now()
    sheet = how_sure(plan)
    if file := list_answer(request, "How sure were we", PARTS, sheet.parts):
        return file
    context = {
        "sheet": sheet,
        "list": shown_list(request, PARTS, sheet.parts),
        "as_of": plan.shop.as_of,
        "door": "shortages",
    }
    return render(request, "web/watch/how_sure.html", context)
