"""Counting: what is due, count sheets on the tablet and on paper, and the first stock-take place by place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bom.errors import BomError
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import QuantityFormField
from kits.catalog.models import Item
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.cautions.alike_parts import AlikePart, AlikeParts
from kits.picking.scanning.photo import CAN_READ_PHOTOS
from kits.picking.scanning.scanned import code_in
from kits.picking.scanning.scanned_here import count_line
from kits.planning.lists.count_plan import rows_to_count
from kits.planning.queries import today
from kits.stock.codes.texts import CodeKind
from kits.stock.counts.actions import (
    begin_count,
    end_count,
    record_count,
    settle_unknown,
    write_down_found,
    write_down_unknown,
)
from kits.stock.counts.due import DueRow
from kits.stock.counts.sheets import CountRow, FoundRow, count_heads, count_sheet, first_take, running_first_take
from kits.stock.models import Count, CountLine, Place, Unknown
from kits.stock.words import CountState
from kits.stock.writes import LotFacts
from kits.web.alike import alike_in
from kits.web.forms.storeroom import FoundForm, UnknownForm
from kits.web.lists import list_answer, rows_with, shown_list, words_asked
from kits.web.page_number import is_number
from kits.web.request_keys import KeyForm, refuse_foreign

MAY_POST = "stock.add_posting"
ON_ONE_SHEET = 20
DUE: tuple[ListColumn[DueRow], ...] = (
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("every", "Counted", lambda row: row.every),
    ListColumn("why", "Why", lambda row: row.why),
    ListColumn("counted", "Last counted", lambda row: row.counted_on),
    ListColumn("due", "Due", lambda row: row.due_on),
)
LINES: tuple[ListColumn[CountRow], ...] = (
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("state", "State", lambda row: row.state),
    ListColumn("counted", "Counted", lambda row: row.counted, figure=True),
    ListColumn("book", "By the book", lambda row: row.book, figure=True),
    ListColumn("difference", "Difference", lambda row: row.difference, figure=True),
    ListColumn("by", "By", lambda row: row.by),
)
FOUND: tuple[ListColumn[FoundRow], ...] = (
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("cure", "Cure", lambda row: row.cure),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("group", "Sorted as", lambda row: row.group),
)


@require_http_methods(["GET", "HEAD", "POST"])
def show_due(request: HttpRequest) -> HttpResponse:
    """What to count today; a sheet is begun from what is ticked."""
    if request.method == "POST":
        return begin_sheet(request)
    place, everything = place_asked(request), "all" in request.GET
    rows = rows_to_count(today=today(), place=place, only_due=not everything)
    if file := list_answer(request, "To count", DUE, rows):
        return file
    shown = shown_list(request, DUE, rows)
    context = {
        "list": shown,
        "place": place,
        "everything": everything,
        "places": sorted({row.place for row in rows}),
        "first": {row.balance_id for row in [row for row in shown.rows if not row.on_a_sheet][:ON_ONE_SHEET]},
        "heads": count_heads(),
        "may_post": request.user.has_perm(MAY_POST),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/storeroom/counts.html", context)


def place_asked(request: HttpRequest) -> str:
    """The place that an address names, by its name or by the code on its label."""
    said = request.GET.get("place", "").strip()
    code = code_in(said)
    return code.number if code and code.kind is CodeKind.PLACE else said


@permission_required(MAY_POST, raise_exception=True)
def begin_sheet(request: HttpRequest) -> HttpResponse:
    """Begin a sheet of what was ticked."""
    form = KeyForm(request.POST)
    try:
        refuse_foreign(form)
        ticked = [int(text) for text in request.POST.getlist("balance") if text.isdecimal()]
        made = begin_count(balance_ids=ticked, key=form.request_key("sheet"), **who_and_when(request))
    except BomError as error:
        messages.error(request, str(error))
        return redirect("counts")
    return redirect("count_sheet", number=made.pk)


@require_safe
def show_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """A count sheet; the book figure is shown only beside lines that are settled. A scan leads to its line."""
    code, sheet = request.GET.get("code", "").strip(), count_sheet(number)
    if code and sheet is not None:
        try:
            return redirect(f"{reverse('count_sheet', args=[number])}?at={count_line(sheet.rows, code).pk}")
        except Refusal as error:
            return render_sheet(request, number, refused=str(error))
    return render_sheet(request, number)


def render_sheet(
    request: HttpRequest, number: int, wrong: int | None = None, typed: str = "", refused: str = ""
) -> HttpResponse:
    """A count sheet; ``wrong`` is a line whose count was refused, with what was typed and why."""
    sheet = count_sheet(number)
    if sheet is None:
        raise Http404(f"There is no count sheet {number}.")
    if file := list_answer(request, f"Count {number}", LINES, sheet.rows):
        return file
    asked = request.GET.get("at", "")
    at = wrong or (int(asked) if is_number(asked) else None)
    context = {
        "wrong": wrong,
        "typed": typed,
        "refused": refused,
        "at": at,
        "sheet": sheet,
        "reads_photos": CAN_READ_PHOTOS,
        "read_at": reverse("read_code"),
        "list": shown_list(request, LINES, sheet.rows, holds=lambda row: row.pk == at),
        "list_at": reverse("count_sheet", args=[number]),
        "alike": alike_on(sheet.rows),
        "may_post": request.user.has_perm(MAY_POST),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/storeroom/count_sheet.html", context, status=409 if refused else 200)


@require_safe
def print_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """A count sheet on paper, without a figure."""
    sheet = count_sheet(number)
    if sheet is None:
        raise Http404(f"There is no count sheet {number}.")
    context = {"sheet": sheet, "alike": alike_on(sheet.rows), "as_of": today(), "door": "storeroom"}
    return render(request, "web/storeroom/count_print.html", context)


def alike_on(rows: Sequence[CountRow]) -> dict[str, list[AlikePart]]:
    """What lies on the shelf and could be taken for a part of the sheet."""
    return AlikeParts().of_each({row.part_number for row in rows})


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def record_line(request: HttpRequest, number: int, line: int) -> HttpResponse:
    """Take down one count, and go on to the next line; one that is no count stays as it was typed."""
    found, form = get_object_or_404(CountLine, pk=line, count=number), KeyForm(request.POST)
    typed = request.POST.get("counted", "")
    try:
        refuse_foreign(form)
        key = form.request_key("counted", line, found.state == CountState.RECOUNT)
        counted = record_count(line=found, counted=read_quantity(typed), key=key, **who_and_when(request))
    except BomError as error:
        return render_sheet(request, number, line, typed, str(error))
    say_count(request, counted)
    return redirect(f"{reverse('count_sheet', args=[number])}{asked_next(request, number, line)}")


def asked_next(request: HttpRequest, number: int, line: int) -> str:
    """What the address asks after a line: the next one of the rows that are looked at, or of all when these are done.

    No fragment besides: a browser that follows one gives the field no focus.
    """
    asked, rows = request.GET.copy(), sheet.rows if (sheet := count_sheet(number)) else ()
    words = words_asked(request)
    following = next_line(rows_with(words, LINES, rows) if words else rows, line)
    if following is None and words:
        del asked["find"]
        following = next_line(rows, line)
    if following:
        asked["at"] = str(following)
    return f"?{asked.urlencode()}" if asked else ""


def next_line(rows: Sequence[CountRow], line: int) -> int | None:
    """The line after one, or the first, that is still to be counted; after a recount was asked for, the same."""
    numbers, still = [row.pk for row in rows], [row.pk for row in rows if row.open]
    after = numbers[numbers.index(line) :] if line in numbers else []
    return next((pk for pk in [*after, *still] if pk in still), None)


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def end_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """End a sheet; what was not counted stays as it was."""
    found, form, sheet = get_object_or_404(Count, pk=number), KeyForm(request.POST), count_sheet(number)
    try:
        refuse_foreign(form)
        end_count(count=found, at=timezone.now(), key=form.request_key("end", number, sheet.to_do if sheet else 0))
    except BomError as error:
        return render_sheet(request, number, refused=str(error))
    messages.success(request, f"Count {number} is ended.")
    return redirect("counts")


@require_safe
def show_first(request: HttpRequest) -> HttpResponse:
    """The first stock-take: the places one after the other, and what was found so far."""
    take = first_take(None)
    if file := list_answer(request, "First stock-take", FOUND, take.rows):
        return file
    shown = shown_list(request, FOUND, take.rows)
    context = {"take": take, "list": shown, "places": running_first_take(), "alike": alike_in(shown)}
    around = {"may_post": request.user.has_perm(MAY_POST), "as_of": today(), "door": "storeroom"}
    return render(request, "web/storeroom/first.html", context | around)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_POST, raise_exception=True)
def show_first_place(request: HttpRequest, place: int) -> HttpResponse:
    """One place of the first stock-take: write down what lies there, one lot after the other."""
    here, refused = get_object_or_404(Place, pk=place), ""
    is_unknown = "looks_like" in request.POST
    posted = request.method == "POST"
    form = FoundForm(request.POST) if posted and not is_unknown else FoundForm()
    unknown = UnknownForm(request.POST) if posted and is_unknown else UnknownForm()
    sent = unknown if is_unknown else form
    if posted and sent.is_valid():
        try:
            says = write_unknown(request, here, unknown) if is_unknown else write_found(request, here, form)
            messages.success(request, says)
            return redirect("first_place", place=place)
        except BomError as error:
            refused = str(error)
    take = first_take(here)
    shown = shown_list(request, FOUND, take.rows)
    context = {"take": take, "list": shown, "form": form, "unknown": unknown, "alike": alike_in(shown)}
    around = {"refused": refused, "place": here, "as_of": today(), "door": "storeroom"}
    status = 409 if refused else 422 if posted else 200
    return render(request, "web/storeroom/first_place.html", context | around, status=status)


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def end_first_place(request: HttpRequest, place: int) -> HttpResponse:
    """Say that everything at a place is written down."""
    here = get_object_or_404(Place, pk=place)
    begun = Count.objects.filter(kind="first", title=here.place, ended_at__isnull=True).first()
    if begun is None:
        messages.error(request, f"Nothing is written down at {here} yet: write it down, or go on to the next place.")
        return redirect("first_place", place=place)
    form = KeyForm(request.POST)
    try:
        refuse_foreign(form)
        end_count(count=begun, at=timezone.now(), key=form.request_key("done", place))
    except BomError as error:
        messages.error(request, str(error))
        return redirect("first_place", place=place)
    messages.success(request, f"{here} is done.")
    return redirect("first_take")


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def settle_find(request: HttpRequest, unknown: int) -> HttpResponse:
    """Say what something unknown turned out to be."""
    found, form = get_object_or_404(Unknown, pk=unknown), KeyForm(request.POST)
    try:
        refuse_foreign(form)
        key = form.request_key("settle", unknown)
        settle_unknown(unknown=found, became=request.POST.get("became", ""), key=key, **who_and_when(request))
        messages.success(request, f"“{found.looks_like}” is settled.")
    except BomError as error:
        messages.error(request, str(error))
    return redirect("first_take")


def who_and_when(request: HttpRequest) -> dict[str, Any]:
    """Who does it, and when."""
    return {"by": cast(User, request.user), "at": timezone.now()}


def read_quantity(text: str) -> int:
    """A counted quantity in millionths, or why it is none."""
    if not text.strip():
        raise Refusal("No figure was written: count what lies there and write it, 0 if nothing does.")
    try:
        return int(QuantityFormField().clean(text))
    except ValidationError as error:
        raise Refusal(f"“{text}” is no count: write a number such as 12.") from error


def say_count(request: HttpRequest, line: CountLine) -> None:
    """What came of a count, without the book figure where it has to be counted again."""
    if line.state == CountState.RECOUNT:
        messages.warning(request, f"{line.balance.lot}: count it once more, without looking at what was written.")
    elif line.state == CountState.DIFFERED:
        messages.success(request, f"{line.balance.lot}: the difference is posted.")
    else:
        messages.success(request, f"{line.balance.lot}: agrees.")


def write_found(request: HttpRequest, place: Place, form: FoundForm) -> SafeString:
    """Write down a lot, and say how it was sorted, with the way to its label."""
    said = form.cleaned_data
    item = Item.objects.by_any_number(said["part"]).first()
    if item is None:
        raise Refusal(f"No part is known as “{said['part']}”: correct the number, or write it down as unknown below.")
    facts = LotFacts(
        cure=said["cure"].strip(), printed_last_use_on=said["use_by"], certificate=said["certificate"].strip()
    )
    found = write_down_found(
        place=place,
        item=item,
        lot_code=said["lot"],
        facts=facts,
        quantity=said["quantity"],
        packet=said["packet"],
        today=today(),
        key=form.request_key("found", place.pk),
        **who_and_when(request),
    )
    says = f"{found.lot} is on the shelf."
    if found.held:
        says = f"{found.lot} bears no date, so it is held: mark the bag with {found.lot.lot} and put it aside."
    elif (last := found.lot.last_use_on) and last < today():
        says = f"{found.lot} is past its last day, {in_full(last)}: it comes on the disposal list."
    labels = f"{reverse('labels')}?{urlencode({'q': f'{found.lot.lot} {place}'})}"
    return format_html('{} <a href="{}">Print its label</a>', says, labels)


def write_unknown(request: HttpRequest, place: Place, form: UnknownForm) -> str:
    """Write down something nobody can name."""
    said = form.cleaned_data
    write_down_unknown(
        place=place,
        looks_like=said["looks_like"],
        quantity=said["quantity"],
        key=form.request_key("unknown", place.pk),
        **who_and_when(request),
    )
    return "It is written down as unknown: put it aside with a note."
