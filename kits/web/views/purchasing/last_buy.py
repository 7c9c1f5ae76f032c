"""Parts that are no longer made: the list of them, and how many to buy of one while it can still be bought."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import plan_now
from kits.planning.sheets.items.last_buy import LastBuySheet, last_buy_sheet
from kits.purchasing.ends.actions import mark_no_longer_made, take_mark_back
from kits.purchasing.ends.queries import ends
from kits.purchasing.models import EndOfMaking
from kits.web.forms.buying.last_buy import USUAL_YEARS, EndForm, LastsForm
from kits.web.forms.kits import ReasonForm
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.plan.part import item_or_404

MAY_MARK, MAY_TAKE_BACK = "purchasing.add_endofmaking", "purchasing.change_endofmaking"
COLUMNS: tuple[ListColumn[LastBuySheet], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "Description", lambda row: row.what),
    ListColumn("since", "No longer made", lambda row: row.end.from_on if row.end else None),
    ListColumn("last", "Order by", lambda row: row.end.last_order_on if row.end else None),
    ListColumn("left", "Left, with orders", lambda row: row.left, figure=True),
    ListColumn("jobs", "Is for so many pumps", lambda row: row.jobs_left, figure=True),
    ListColumn("pace", "Pumps a year", lambda row: row.jobs_a_year, figure=True),
    ListColumn("lasts", "Lasts until about", lambda row: row.lasts_to),
    ListColumn("buy", f"To buy for {USUAL_YEARS} years", lambda row: row.buy, figure=True),
    ListColumn("source", "Stated by", lambda row: row.end.source if row.end else ""),
)
SHOWN_COLUMNS = tuple(column for column in COLUMNS if column.name not in {"what", "source"})


@require_safe
@needs_plan
def show_ends(request: HttpRequest) -> HttpResponse:
    """Every part that is no longer made, with what is left of it."""
    plan = plan_now()
    items = Item.objects.filter(part_number__in=ends()).order_by("folded")
    rows = [last_buy_sheet(plan, item, USUAL_YEARS, item.how_sure_percent) for item in items]
    if (answer := list_answer(request, "No longer made", COLUMNS, rows)) is not None:
        return answer
    context = {"list": shown_list(request, SHOWN_COLUMNS, rows, more=COLUMNS), "as_of": plan.shop.as_of}
    return render(request, "web/purchasing/ends.html", context | {"years": USUAL_YEARS, "door": "purchasing"})


@require_safe
@needs_plan
def show_last_buy(request: HttpRequest, part_number: str) -> HttpResponse:
    """One part: what is left, how far it goes, how many to buy; it may be marked here as no longer made."""
    return _render(request, item_or_404(part_number))


@require_POST
@permission_required(MAY_MARK, raise_exception=True)
@needs_plan
def mark_end(request: HttpRequest, part_number: str) -> HttpResponse:
    """Mark a part as no longer made."""
    item, form = item_or_404(part_number), EndForm(request.POST)
    if form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("from_on", "last_order_on", "source", "note")}
        try:
            key = form.request_key("end", item.pk)
            mark_no_longer_made(item=item, **said, by=cast(User, request.user), at=timezone.now(), key=key)
            messages.success(request, f"{item} is marked as no longer made.")
            return redirect("last_buy", part_number=item.part_number)
        except Refusal as error:
            form.add_error(None, str(error))
    return _render(request, item, mark=form)


@require_POST
@permission_required(MAY_TAKE_BACK, raise_exception=True)
@needs_plan
def unmark_end(request: HttpRequest, part_number: str) -> HttpResponse:
    """Take the mark back: the part is made after all."""
    item, form = item_or_404(part_number), ReasonForm(request.POST)
    end = EndOfMaking.objects.select_related("item").filter(item=item, taken_back_at__isnull=True).first()
    if end is None:
        raise Http404(f"{item} is not marked as no longer made.")
    if form.is_valid():
        try:
            key, why = form.request_key("made after all", end.pk), form.cleaned_data["reason"]
            take_mark_back(end=end, why=why, by=cast(User, request.user), at=timezone.now(), key=key)
            messages.success(request, f"{item} is made after all.")
            return redirect("last_buy", part_number=item.part_number)
        except Refusal as error:
            form.add_error(None, str(error))
    return _render(request, item, unmark=form)


def _render(
    request: HttpRequest, item: Item, *, mark: EndForm | None = None, unmark: ReasonForm | None = None
) -> HttpResponse:
    plan, refused = plan_now(), mark or unmark
    usual: dict[str, Any] = {"years": USUAL_YEARS, "sure": item.how_sure_percent.normalize()}
    lasts = LastsForm(request.GET) if "years" in request.GET or "sure" in request.GET else LastsForm(initial=usual)
    said = lasts.cleaned_data if lasts.is_bound and lasts.is_valid() else usual
    past = EndOfMaking.objects.filter(item=item).select_related("by", "taken_back_by")
    context = {
        "sheet": last_buy_sheet(plan, item, said["years"], said["sure"]),
        "item": item,
        "lasts": lasts,
        "sure": said["sure"],
        "mark": mark or EndForm(),
        "unmark": unmark or ReasonForm(),
        "end_pk": next((one.pk for one in past if one.taken_back_at is None), None),
        "past": list(past),
        "refused": refused.non_field_errors() if refused else (),
        "may_mark": request.user.has_perm(MAY_MARK),
        "currency": read_settings().currency,
        "as_of": plan.shop.as_of,
        "door": "pumps_and_parts",
    }
    return render(request, "web/last_buy.html", context, status=422 if refused or lasts.errors else 200)
