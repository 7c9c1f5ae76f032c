"""A supplier's confirmation: typed or brought as the workbook, compared line by line, then taken."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from kits.catalog.days.doubts import doubts_now
from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.confirmation_book import ConfirmedRow, read_confirmation
from kits.exchange.workbooks.order_book import DAY_SAID, NOTE, PACKS, PRICED, order_workbook
from kits.people.models import User
from kits.planning.queries import today
from kits.planning.words.states import plural
from kits.purchasing.lines.actions import confirm_lines
from kits.purchasing.orders.order_sheet import OrderSheet
from kits.web.forms.ordering.confirming import ConfirmForm
from kits.web.forms.purchasing import ReplyFileForm
from kits.web.lists import WORKBOOK
from kits.web.views.purchasing.front import MAY_ORDER
from kits.web.views.purchasing.order_sheets import own_sheet_or_404, shop_lines

COLUMN_OF = {"packs": PACKS, "price": PRICED, "day": DAY_SAID, "note": NOTE}


@require_safe
def download_order(request: HttpRequest, number: str) -> HttpResponse:
    """The order as a workbook, to send."""
    sheet, settings = own_sheet_or_404(number), read_settings()
    content = order_workbook(sheet, [settings.text("shop_name"), *shop_lines(settings)])
    name = "".join(sign if sign.isalnum() or sign in "-_." else "-" for sign in sheet.number)
    headers = {"Content-Disposition": f'attachment; filename="order-{name}.xlsx"'}
    return HttpResponse(content, WORKBOOK, headers=headers)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ORDER, raise_exception=True)
def confirm(request: HttpRequest, number: str) -> HttpResponse:
    """What the supplier confirms of an order: shown beside it first, taken by a second step."""
    sheet, as_of = own_sheet_or_404(number), today()
    odd, files = doubts_now(as_of), None
    if "filled" in request.FILES:
        files = ReplyFileForm(request.POST, request.FILES)
        form, says = _from_workbook(sheet, files, ConfirmForm(sheet, odd))
    else:
        form, says = ConfirmForm(sheet, odd, request.POST or None), ""
        if request.method == "POST" and form.was_compared:
            try:
                changed = _take(request, sheet, form)
                messages.success(request, f"Taken. {changed or 'None'} of the lines changed what was ordered.")
                return redirect("order", sheet.number)
            except Refusal as error:
                form.add_error(None, str(error))
    context = {"sheet": sheet, "form": form, "files": files, "says": says, "as_of": as_of, "door": "purchasing"}
    context["compared"] = form.digest
    wrong = form.errors or (files is not None and files.errors)
    return render(request, "web/purchasing/confirm.html", context, status=422 if wrong else 200)


def _take(request: HttpRequest, sheet: OrderSheet, form: ConfirmForm) -> int:
    assert sheet.order is not None
    return confirm_lines(
        order=sheet.order.pk,
        lines=form.confirmed(),
        source=form.cleaned_data["source"] or "confirmed by the supplier",
        by=cast(User, request.user),
        at=timezone.now(),
        today=today(),
        key=form.request_key("confirm", sheet.number, sheet.shows),
    )


def _from_workbook(sheet: OrderSheet, files: ReplyFileForm, form: ConfirmForm) -> tuple[ConfirmForm, str]:
    """The form as a workbook fills it in; lines of which it says nothing are not ticked."""
    if not files.is_valid():
        return form, ""
    file = files.cleaned_data["filled"]
    try:
        rows = read_confirmation(SheetFile(file.name, file.read()), sheet.number, today())
    except Refusal as error:
        files.add_error("filled", str(error))
        return form, ""
    by_key: dict[str, ConfirmedRow] = {}
    remarks = []
    known = {line.number for line in form.lines}
    for row in rows:
        if not row.key:
            remarks.append(f"Row {row.row} has lost its key, so nobody can tell its line: type what it says here.")
        elif row.key not in known:
            remarks.append(f"Row {row.row} is of line {row.key}, of which nothing is to come: it is left out.")
        elif row.key in by_key:
            remarks.append(f"Row {row.row} is a second one of line {row.key}: split the line once this one is taken.")
        else:
            by_key[row.key] = row
    for line in form.lines:
        stated = by_key.get(line.number)
        form.initial[f"take-{line.line_id}"] = stated is not None and not stated.unread
        for what, column in COLUMN_OF.items():
            if stated is not None and column in stated.said:
                form.initial[f"{what}-{line.line_id}"] = stated.said[column]
        if stated is not None:
            form.unread[line.number] = tuple(stated.unread)
    form.initial["source"] = f"confirmed in {file.name}"[:200]
    left = len(form.lines) - len(by_key)
    rest = f"; {left} {_is_are(left)} not, and not ticked" if left else ""
    said = f"{len(by_key)} of {plural(len(form.lines), 'line')} {_is_are(len(by_key))} filled in{rest}"
    return form, " ".join((f"{file.name} was read: {said}.", *remarks))


def _is_are(count: int) -> str:
    return "is" if count == 1 else "are"
