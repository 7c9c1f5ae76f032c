"""What is watched on the shelf: last days, what to use first, minimum stocks, customers' lots, worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.caching.late_rows import BatchRows
from kits.exchange.workbooks.list_export import ListColumn
from kits.picking.cautions.alike_parts import AlikeParts
from kits.planning.lists.bench_top_up import TopUp, top_up_sheet
from kits.planning.lists.customer_lots import OwnedLot, customer_lots
from kits.planning.lists.ending_lots import (
    MONTHS_AHEAD,
    EndingLot,
    FirstLot,
    PartLots,
    UseFirst,
    ending_sheet,
    parts_to_use_first,
    use_first,
)
from kits.planning.lists.shelf_value import ValuedLot, shelf_value
from kits.planning.queries import plan_now, today
from kits.web.lists import (
    TALL_ROWS_PER_PAGE,
    found_rows,
    list_answer,
    shown_list,
)

STANDINGS = (
    ("", "All of them"),
    ("past", "Past their last day"),
    ("wasted", "Run out before a job that could have used them"),
    ("used", "All used in time"),
    ("later", "No planned job asks after their last day"),
    ("bench", "Used at the bench"),
)
WORTH_CHOICES = (
    ("", "The whole shelf"),
    ("sleeps", "Not moved for two years"),
    ("dies", "Expires within the year"),
    ("past", "Past its last day"),
    ("no_cost", "Without a known cost"),
    ("owned", "Belongs to a customer"),
)
STANDING_SAYS = dict(STANDINGS)
ENDING: tuple[ListColumn[EndingLot], ...] = (
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("quantity", "On hand", lambda row: row.quantity, figure=True),
    ListColumn("taken", "Planned to be used", lambda row: row.taken, figure=True),
    ListColumn("unused", "Not used by then", lambda row: row.unused, figure=True),
    ListColumn("standing", "What becomes of it", lambda row: f"{STANDING_SAYS[row.standing]} {row.before_job}".strip()),
)
WORTH: tuple[ListColumn[ValuedLot], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("quantity", "On hand", lambda row: row.quantity, figure=True),
    ListColumn("cost", "Cost of one", lambda row: row.unit_cost, figure=True),
    ListColumn("worth", "Worth", lambda row: row.worth, figure=True),
    ListColumn("moved", "Last moved", lambda row: row.moved_on),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("known", "Remarks", lambda row: ", ".join(row.remarks)),
)


FIRST: tuple[ListColumn[UseFirst], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Take first", lambda row: row.first.lot),
    ListColumn("place", "Place", lambda row: row.first.place),
    ListColumn("quantity", "On hand", lambda row: row.first.quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row.first.last_use_on),
    ListColumn("then", "Then", lambda row: "; ".join(f"{lot.lot} {lot.place}" for lot in row.then)),
)


@dataclass(frozen=True, slots=True)
class TurnRow:
    """A lot of a part and its turn, for the file."""

    part_number: str
    turn: int
    lot: FirstLot


TURNS: tuple[ListColumn[TurnRow], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("turn", "Order of use", lambda row: row.turn, figure=True),
    ListColumn("lot", "Lot", lambda row: row.lot.lot),
    ListColumn("place", "Place", lambda row: row.lot.place),
    ListColumn("quantity", "On hand", lambda row: row.lot.quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row.lot.last_use_on),
)
TOP_UPS: tuple[ListColumn[tuple[str, TopUp]], ...] = (
    ListColumn("home", "Home", lambda row: row[0]),
    ListColumn("part", "Item", lambda row: row[1].part_number),
    ListColumn("here", "Here", lambda row: row[1].at_home, figure=True),
    ListColumn("minimum", "Minimum", lambda row: row[1].minimum, figure=True),
    ListColumn("maximum", "Maximum", lambda row: row[1].maximum, figure=True),
    ListColumn("bring", "Bring", lambda row: row[1].bring, figure=True),
    ListColumn("from", "From", lambda row: "; ".join(f"{f.quantity.text} {f.place} {f.lot}" for f in row[1].fetches)),
    ListColumn("order", "On order", lambda row: row[1].on_order, figure=True),
    ListColumn("buy", "To buy", lambda row: row[1].to_buy, figure=True),
)
OWNED: tuple[ListColumn[tuple[str, OwnedLot]], ...] = (
    ListColumn("customer", "Customer", lambda row: row[0]),
    ListColumn("part", "Part", lambda row: row[1].part_number),
    ListColumn("lot", "Lot", lambda row: row[1].lot),
    ListColumn("place", "Place", lambda row: row[1].place),
    ListColumn("quantity", "On hand", lambda row: row[1].quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row[1].last_use_on),
    ListColumn("taken", "Goes into jobs", lambda row: row[1].taken, figure=True),
    ListColumn("jobs", "Which", lambda row: ", ".join(row[1].jobs)),
)


@require_safe
def show_ending(request: HttpRequest) -> HttpResponse:
    """Lots whose last day comes soon, set against the plan."""
    months = request.GET.get("months", "")
    ahead = int(months) if months.isascii() and months.isdigit() and len(months) < 4 else MONTHS_AHEAD
    sheet = ending_sheet(plan_now(), months=ahead, standing=request.GET.get("standing", ""))
    if (answer := list_answer(request, "Expiring soon", ENDING, sheet.rows)) is not None:
        return answer
    shown = shown_list(request, ENDING, sheet.rows, TALL_ROWS_PER_PAGE)
    context = {"sheet": sheet, "list": shown, "standings": STANDINGS, "as_of": sheet.as_of, "door": "storeroom"}
    return render(request, "web/watch/ending.html", context)


@require_safe
def show_use_first(request: HttpRequest) -> HttpResponse:
    """Which lot of each part is taken first."""
    plan = plan_now()
    parts = parts_to_use_first(plan)
    turns = turns_of(parts) if "export" in request.GET else ()
    if (answer := list_answer(request, "Use first", TURNS, turns)) is not None:
        return answer
    shown = shown_list(request, FIRST, BatchRows(parts, lambda some: list(use_first(some))), TALL_ROWS_PER_PAGE)
    context = {
        "list": shown,
        "months": MONTHS_AHEAD,
        "as_of": plan.shop.as_of,
        "door": "storeroom",
        "alike": AlikeParts().of_each({row.part_number for row in shown.rows}),
    }
    return render(request, "web/watch/use_first.html", context)


def turns_of(parts: Sequence[PartLots]) -> list[TurnRow]:
    """Every lot of some parts with its turn."""
    rows = use_first(parts)
    return [TurnRow(row.part_number, turn, lot) for row in rows for turn, lot in enumerate((row.first, *row.then), 1)]


@require_safe
def show_top_up(request: HttpRequest) -> HttpResponse:
    """What to carry to the benches, and what of it has to be bought."""
    sheet = top_up_sheet(today=today(), below_only="all" not in request.GET)
    rows = [(bench.home, row) for bench in sheet.benches for row in bench.rows]
    if (answer := list_answer(request, "Bench top-up", TOP_UPS, rows)) is not None:
        return answer
    kept, found = found_rows(request, TOP_UPS, rows)
    benches = [(home, [row for _, row in group]) for home, group in groupby(kept, lambda pair: pair[0])]
    context = {"sheet": sheet, "benches": benches, "list": found, "as_of": sheet.as_of, "door": "storeroom"}
    context["alike"] = AlikeParts().of_each({row.part_number for _, row in kept})
    return render(request, "web/watch/top_up.html", context)


@require_safe
def show_customers(request: HttpRequest) -> HttpResponse:
    """Lots that belong to customers."""
    plan = plan_now()
    customers = customer_lots(plan)
    rows = [(customer.customer, row) for customer in customers for row in customer.rows]
    if (answer := list_answer(request, "Customers' lots", OWNED, rows)) is not None:
        return answer
    kept, found = found_rows(request, OWNED, rows)
    lots = {name: tuple(row for _, row in group) for name, group in groupby(kept, lambda pair: pair[0])}
    shown = [replace(one, rows=lots[one.customer]) for one in customers if one.customer in lots]
    context = {"customers": shown, "list": found, "as_of": plan.shop.as_of, "door": "storeroom"}
    return render(request, "web/watch/customers.html", context)


@require_safe
def show_worth(request: HttpRequest) -> HttpResponse:
    """What the shelf is worth, and what of it sleeps or dies."""
    value = shelf_value(today=today(), only=request.GET.get("only", ""))
    if (answer := list_answer(request, "Stock value", WORTH, value.rows)) is not None:
        return answer
    shown = shown_list(request, WORTH, value.rows)
    context = {"value": value, "list": shown, "choices": WORTH_CHOICES, "as_of": value.as_of, "door": "storeroom"}
    return render(request, "web/watch/worth.html", context)
