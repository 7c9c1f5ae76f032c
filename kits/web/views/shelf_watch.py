"""What is watched on the shelf: last days, what to use first, minimum stocks, customers' lots, worth."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.bench_top_up import top_up_sheet
from kits.planning.customer_lots import customer_lots
from kits.planning.ending_lots import MONTHS_AHEAD, ending_sheet, use_first
from kits.planning.queries import plan_now, today
from kits.planning.shelf_value import shelf_value
from kits.web.page_number import page_number

ROWS_PER_PAGE = 100
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
    ("dies", "Ends within the year"),
    ("past", "Past its last day"),
    ("no_cost", "Without a known cost"),
    ("owned", "Belongs to a customer"),
)


@require_safe
def show_ending(request: HttpRequest) -> HttpResponse:
    """Lots whose last day comes soon, set against the plan."""
    months = request.GET.get("months", "")
    ahead = int(months) if months.isascii() and months.isdigit() and len(months) < 4 else MONTHS_AHEAD
    sheet = ending_sheet(plan_now(), months=ahead, standing=request.GET.get("standing", ""))
    context = {"sheet": sheet, "standings": STANDINGS, "as_of": sheet.as_of, "door": "storeroom"}
    return render(request, "web/watch/ending.html", context)


@require_safe
def show_use_first(request: HttpRequest) -> HttpResponse:
    """Which lot of each part is taken first."""
    plan = plan_now()
    context = {"rows": use_first(plan), "months": MONTHS_AHEAD, "as_of": plan.shop.as_of, "door": "storeroom"}
    return render(request, "web/watch/use_first.html", context)


@require_safe
def show_top_up(request: HttpRequest) -> HttpResponse:
    """What to carry to the benches, and what of it has to be bought."""
    sheet = top_up_sheet(today=today(), below_only="all" not in request.GET)
    return render(request, "web/watch/top_up.html", {"sheet": sheet, "as_of": sheet.as_of, "door": "storeroom"})


@require_safe
def show_customers(request: HttpRequest) -> HttpResponse:
    """Lots that belong to customers."""
    plan = plan_now()
    context = {"customers": customer_lots(plan), "as_of": plan.shop.as_of, "door": "storeroom"}
    return render(request, "web/watch/customers.html", context)


@require_safe
def show_worth(request: HttpRequest) -> HttpResponse:
    """What the shelf is worth, and what of it sleeps or dies."""
    value = shelf_value(today=today(), only=request.GET.get("only", ""))
    page = Paginator(value.rows, ROWS_PER_PAGE).get_page(page_number(request))
    context = {"value": value, "page": page, "choices": WORTH_CHOICES, "as_of": value.as_of, "door": "storeroom"}
    return render(request, "web/watch/worth.html", context)
