"""The storeroom in numbers, month by month, for the owner."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.picking.months.figures import FIGURE, MonthRow
from kits.picking.months.sheet import FigureRow, Month, month_rows, month_sheet
from kits.planning.queries import today
from kits.web.lists import list_answer, shown_list

ROWS: tuple[ListColumn[MonthRow], ...] = (
    ListColumn("at", "When", lambda row: row.at),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("where", "Where", lambda row: row.where),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("by", "By", lambda row: row.by),
    ListColumn("says", "What", lambda row: row.says),
)


@require_safe
def show_month(request: HttpRequest) -> HttpResponse:
    """This month, or the one that the address names, and the months before it."""
    this = running_month()
    sheet = month_sheet(month_asked(request) or this)
    columns: tuple[ListColumn[FigureRow], ...] = (
        ListColumn("figure", "Figure", lambda row: row.figure.title),
        *(ListColumn(month.name, month.short, _number(n), figure=True) for n, month in enumerate(sheet.months)),
        ListColumn("counts", "What it counts", lambda row: row.figure.counts),
    )
    if file := list_answer(request, f"Storeroom {sheet.month.name}", columns, sheet.rows):
        return file
    context = {
        "sheet": sheet,
        "rows": [(row, list(zip(sheet.months, row.numbers, strict=True))) for row in sheet.rows],
        "said": {name: sheet.number(name) for name in FIGURE},
        "before": sheet.month.moved(-1),
        "after": sheet.month.after if sheet.month.first_on < this.first_on else None,
        "is_running": sheet.month == this,
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/storeroom/month.html", context)


@require_safe
def show_month_rows(request: HttpRequest, figure: str) -> HttpResponse:
    """What a number of a month counts, row by row."""
    found = FIGURE.get(figure)
    if found is None:
        raise Http404(f"No figure of the storeroom is called {figure}.")
    month = month_asked(request) or running_month()
    rows = month_rows(found, month)
    if file := list_answer(request, f"Storeroom {found.title} {month.name}", ROWS, rows):
        return file
    context = {"list": shown_list(request, ROWS, rows), "figure": found, "month": month}
    return render(request, "web/storeroom/month_rows.html", context | {"as_of": today(), "door": "storeroom"})


def running_month() -> Month:
    """The month that runs by the clock: what was booked bears its moment, also where the records stand still."""
    return Month(timezone.localdate().replace(day=1))


def month_asked(request: HttpRequest) -> Month | None:
    """The month that the address names; None where it names none that a sheet can be made for."""
    try:
        first_on = date.fromisoformat(f"{request.GET.get('month', '')}-01")
    except ValueError:
        return None
    return Month(first_on) if 1990 <= first_on.year <= 2190 else None


def _number(place: int) -> Callable[[FigureRow], int | None]:
    return lambda row: row.numbers[place]
