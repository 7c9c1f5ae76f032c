"""Where a scanned code leads, and what codes on older labels mean."""

from __future__ import annotations

from typing import cast
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.models import Bag
from kits.picking.scanning.actions import forget_code, teach_code
from kits.picking.scanning.photo import CAN_READ_PHOTOS
from kits.picking.scanning.scanned import Named, read_scan
from kits.picking.scanning.scanned_here import place_named
from kits.planning.queries import today
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job
from kits.stock.codes.texts import CodeKind
from kits.stock.models import Place, TaughtCode
from kits.web.forms.codes import TeachForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign

MAY_POST = "stock.add_posting"
TAUGHT: tuple[ListColumn[TaughtCode], ...] = (
    ListColumn("text", "On the label", lambda row: row.text),
    ListColumn("means", "Means", lambda row: row.means),
)


@require_safe
def scan(request: HttpRequest) -> HttpResponse:
    """Go to what was scanned; a code that may mean several things, or nothing, gets a page that says so."""
    found = read_scan(request.GET.get("code", ""))
    if found.only:
        return redirect(address_of(found.only))
    rows = [(one, address_of(one)) for one in found.named]
    context = {"scan": found, "rows": rows, "may_post": request.user.has_perm(MAY_POST)}
    context |= {"reads_photos": CAN_READ_PHOTOS, "read_at": reverse("read_code")}
    context |= {"as_of": today(), "door": "storeroom"}
    return render(request, "web/codes/scan.html", context, status=200 if rows or not found.text.strip() else 404)


@require_safe
def read_place(request: HttpRequest) -> HttpResponse:
    """Say to a page with a field for a place which place a scan names."""
    try:
        return JsonResponse({"place": place_named(request.GET.get("code", "")).pk})
    except Refusal as error:
        return JsonResponse({"refused": str(error)})


def address_of(one: Named) -> str:
    """Where the work with it is: the shelf of a place, the lot, the bag, the part, the receipt of an order."""
    if one.code.kind is CodeKind.PLACE:
        return f"{reverse('storeroom')}?{urlencode({'place': Place.objects.get(pk=one.key).place})}"
    if one.code.kind is CodeKind.LOT:
        return reverse("lot", args=[one.key])
    if one.code.kind is CodeKind.BAG:
        return reverse("bag", args=[Bag.objects.get(pk=one.key).number])
    if one.code.kind is CodeKind.JOB:
        return reverse("job", args=[Job.objects.get(pk=one.key).job])
    if one.code.kind is CodeKind.ORDER:
        return f"{reverse('receive')}?{urlencode({'q': OrderLine.objects.get(pk=one.key).order})}"
    item = Item.objects.get(pk=one.key)
    return reverse(item.kind if item.kind in ("kit", "pump") else "part", args=[item.part_number])


@require_http_methods(["GET", "HEAD", "POST"])
def show_taught_codes(request: HttpRequest) -> HttpResponse:
    """Codes on older labels, and what each of them means; a clerk adds one."""
    rows, may_post = list(TaughtCode.objects.all()), request.user.has_perm(MAY_POST)
    if request.method != "POST" and (file := list_answer(request, "Codes", TAUGHT, rows)):
        return file
    form = TeachForm(request.POST) if request.method == "POST" else TeachForm(initial={"text": request.GET.get("code")})
    if request.method == "POST":
        if not may_post:
            raise PermissionDenied
        if form.is_valid():
            said, by = form.cleaned_data, cast(User, request.user)
            try:
                key = form.request_key("teach")
                code = teach_code(text=said["text"], means=said["means"], by=by, at=timezone.now(), key=key)
            except Refusal as error:
                form.add_error(None, str(error))
            else:
                messages.success(request, f"Whoever scans {code.text} gets {code.means} from now on.")
                return redirect("taught_codes")
    context = {"list": shown_list(request, TAUGHT, rows), "form": form, "may_post": may_post}
    context |= {"as_of": today(), "door": "storeroom"}
    return render(request, "web/codes/taught.html", context, status=422 if form.errors else 200)


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def forget(request: HttpRequest, code: int) -> HttpResponse:
    """Take back what a code on an older label means."""
    form = KeyForm(request.POST)
    found = get_object_or_404(TaughtCode, pk=code) if not form.is_repeat("forget", code) else None
    if found is None:
        return redirect("taught_codes")
    try:
        refuse_foreign(form)
        key = form.request_key("forget", code)
        forget_code(code=code, by=cast(User, request.user), at=timezone.now(), key=key)
    except Refusal as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{found.text} means nothing any more.")
    return redirect("taught_codes")
