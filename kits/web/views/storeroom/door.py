"""The door of the storeroom: what is expected, and deliveries taken in lot by lot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_safe

from bom.errors import BomError
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.cautions.alike_parts import AlikeParts
from kits.picking.scanning.photo import CAN_READ_PHOTOS
from kits.picking.scanning.scanned_here import delivery_of
from kits.planning.lists.finder import items
from kits.planning.queries import today
from kits.planning.questions.old_deliveries import asked_of_delivery
from kits.purchasing.models import OrderLine
from kits.purchasing.receiving.actions import receive_delivery
from kits.purchasing.receiving.desk import ExpectedRow, desk_sheet, expected_rows, find_line
from kits.stock.lists.put_away import homes
from kits.stock.queries import lots_moved
from kits.web.forms.storeroom import ReceiveForm
from kits.web.lists import list_answer, shown_list
from kits.web.views.codes.printing import labels_link
from kits.web.views.plan.part import item_or_404

MAY_POST = "stock.add_posting"
COLUMNS: tuple[ListColumn[ExpectedRow], ...] = (
    ListColumn("promised", "Promised", lambda row: row.promised_on),
    ListColumn("order", "Order", lambda row: f"{row.order}, {row.line}"),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("quantity", "Still to come", lambda row: row.quantity, figure=True),
)


@require_safe
def show_expected(request: HttpRequest) -> HttpResponse:
    """Open order lines to receive against, and parts that come without an order."""
    as_of, words, part = today(), request.GET.get("q", "").strip(), request.GET.get("part", "").strip()
    rows = expected_rows(today=as_of, words=words)
    if code := request.GET.get("code", "").strip():
        return lead_on(request, rows, code)
    if file := list_answer(request, "Expected", COLUMNS, rows):
        return file
    hits = list(items(part)) if part else []
    if len(exact := [hit for hit in hits if hit.exact]) == 1:
        return redirect("receive_part", part_number=exact[0].key)
    context = {"list": shown_list(request, COLUMNS, rows), "words": words, "part": part, "hits": hits, "as_of": as_of}
    context |= {"may_post": request.user.has_perm(MAY_POST), "door": "storeroom"}
    context |= {"reads_photos": CAN_READ_PHOTOS, "read_at": reverse("read_code")}
    return render(request, "web/storeroom/expected.html", context)


def lead_on(request: HttpRequest, rows: Sequence[ExpectedRow], code: str) -> HttpResponse:
    """Go to what a scan at the door names: the form of a line, the lines of an order, or a part on no order."""
    try:
        found = delivery_of(rows, code)
    except Refusal as error:
        messages.error(request, str(error))
        return redirect("receive")
    if found.line is not None:
        return redirect("receive_line", line=found.line)
    if found.part_number:
        return redirect("receive_part", part_number=found.part_number)
    return redirect(f"{reverse('receive')}?{urlencode({'q': found.order})}")


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_POST, raise_exception=True)
def receive_line(request: HttpRequest, line: int) -> HttpResponse:
    """Take in what came of an order line."""
    found = find_line(line)
    if found is None:
        raise Http404("There is no such order line.")
    return receive(request, found.item, found)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_POST, raise_exception=True)
def receive_part(request: HttpRequest, part_number: str) -> HttpResponse:
    """Take in what came without an order."""
    return receive(request, item_or_404(part_number), None)


def receive(request: HttpRequest, item: Item, line: OrderLine | None) -> HttpResponse:
    """The form of a delivery; what was refused stands beside it with everything that was typed."""
    as_of, sheet, refused = today(), desk_sheet(item, line), ""
    around: dict[str, Any] = {"places": homes(), "sheet": sheet}
    # How many came is counted, never taken over from the order by a blind yes.
    form = ReceiveForm(request.POST, **around) if request.method == "POST" else ReceiveForm(**around)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            lots = form.delivered()
            postings = receive_delivery(
                item=item,
                order_line=line,
                lots=lots,
                asked=asked_of_delivery(item, line, lots, today=as_of),
                reason=said["reason"],
                short_life_reason=said["short_life_reason"],
                over_reason=said.get("over_reason", ""),
                by=cast(User, request.user),
                at=timezone.now(),
                today=as_of,
                key=form.request_key("receive", item.pk, sheet.shows),
            )
            names = ", ".join(lot.lot for lot in lots_moved(postings))
            says = "{} is received: lot {}. Mark the bag with it, then put it away. {}"
            messages.success(request, format_html(says, item, names, labels_link(postings, "Print its label")))
            return redirect("receive")
        except BomError as error:
            refused = str(error)
    context = {"sheet": sheet, "form": form, "refused": refused, "as_of": as_of, "door": "storeroom"}
    context["alike"] = AlikeParts().of(item.part_number)
    status = 409 if refused else 422 if form.errors else 200
    return render(request, "web/storeroom/receive.html", context, status=status)
