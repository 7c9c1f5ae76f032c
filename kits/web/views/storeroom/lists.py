"""The lists of the storeroom: movements, put-away, quarantine, disposal, what came back from the bench."""

from __future__ import annotations

from typing import cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from bom.errors import BomError
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.stock.actions import dispose_of
from kits.stock.ledger import Entry
from kits.stock.lists.account import account_sheet
from kits.stock.lists.disposal import Disposed, ToDispose, disposed, to_dispose
from kits.stock.lists.movements import DAYS_SHOWN, MovementFilter, MovementRow, movement_rows
from kits.stock.lists.quarantine import HeldRow, held_rows
from kits.stock.lists.with_jobs import WithJobRow, with_job_rows
from kits.stock.lists.words import KIND_SAYS
from kits.stock.words import Decides
from kits.web.alike import alike_in
from kits.web.forms.storeroom import DisposeForm, day_of
from kits.web.lists import TALL_ROWS_PER_PAGE, list_answer, shown_list

MAY_POST = "stock.add_posting"
MOVEMENTS: tuple[ListColumn[MovementRow], ...] = (
    ListColumn("at", "When", lambda row: row.at),
    ListColumn("kind", "What happened", lambda row: row.kind),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("where", "Where", lambda row: row.where),
    ListColumn("change", "Change", lambda row: row.change, figure=True),
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("by", "By", lambda row: row.by),
    ListColumn("reason", "Why", lambda row: row.reason),
    ListColumn("standing", "Standing", lambda row: row.standing),
)
SHOWN_MOVEMENTS = MOVEMENTS[:-1]  # how a movement stands is said beside what happened
HELD: tuple[ListColumn[HeldRow], ...] = (
    ListColumn("days", "Days", lambda row: row.days, figure=True),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("decides", "Who must decide", lambda row: row.decides),
    ListColumn("reason", "Why", lambda row: row.reason),
)
DISPOSE: tuple[ListColumn[ToDispose], ...] = (
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("why", "Why", lambda row: row.why),
    ListColumn("owner", "Belongs to", lambda row: row.owner),
)
DISPOSED: tuple[ListColumn[Disposed], ...] = (
    ListColumn("at", "When", lambda row: row.at),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("way", "How", lambda row: row.way),
    ListColumn("remark", "Remark", lambda row: row.remark),
    ListColumn("reason", "Why", lambda row: row.reason),
    ListColumn("by", "By", lambda row: row.by),
    ListColumn("standing", "Standing", lambda row: "taken back" if row.taken_back else ""),
)
BENCH: tuple[ListColumn[WithJobRow], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("state", "Where it is", lambda row: row.state),
    ListColumn("home", "Home bin", lambda row: row.home),
)


@require_safe
def show_movements(request: HttpRequest) -> HttpResponse:
    """Movements of a part, a lot, a place, a job, or of the last days; what stands for itself can be taken back."""
    names = ("part", "lot", "place", "job", "kind", "by")
    words = {name: request.GET.get(name, "").strip() for name in names}
    since, until = (day_of(request.GET.get(name, "")) for name in ("since", "until"))
    sought = MovementFilter(**words, since=since, until=until)
    rows = movement_rows(sought, today=today())
    if file := list_answer(request, "Movements", MOVEMENTS, rows):
        return file
    context = {
        "list": shown_list(request, SHOWN_MOVEMENTS, rows),
        "sought": sought,
        "kinds": KIND_SAYS.items(),
        "days": DAYS_SHOWN,
        "may_post": request.user.has_perm(MAY_POST),
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/storeroom/movements.html", context)


@require_safe
def show_quarantine(request: HttpRequest) -> HttpResponse:
    """What lies in quarantine, how long, and who must decide."""
    decides = request.GET.get("decides", "")
    rows = held_rows(today=today(), decides=decides)
    if file := list_answer(request, "Quarantine", HELD, rows):
        return file
    shown = shown_list(request, HELD, rows, TALL_ROWS_PER_PAGE)
    context = {"list": shown, "decides": decides, "choices": Decides.labels, "alike": alike_in(shown)}
    around = {"long": sum(row.long for row in rows), "nobody": sum(not row.decides for row in rows)}
    return render(request, "web/storeroom/quarantine.html", context | around | {"as_of": today(), "door": "storeroom"})


@require_http_methods(["GET", "HEAD", "POST"])
def show_disposal(request: HttpRequest) -> HttpResponse:
    """What has to leave the shop; ticked lots are taken off with a record."""
    rows, refused = to_dispose(today=today()), ""
    shows = [(row.balance_id, row.millionths) for row in rows]
    if file := list_answer(request, "Disposal list", DISPOSE, rows):
        return file
    may_post = request.user.has_perm(MAY_POST)
    if request.method == "POST" and not may_post:
        raise PermissionDenied
    ticked = set(request.POST.getlist("balance"))
    form = DisposeForm(request.POST) if request.method == "POST" else DisposeForm()
    if form.is_bound and form.is_valid():
        try:
            chosen = [row for row in rows if str(row.balance_id) in ticked]
            dispose_of(
                sources=[entry for row in chosen if (entry := entry_of(row))],
                **{name: form.cleaned_data[name] for name in ("way", "remark", "reason")},
                by=cast(User, request.user),
                at=timezone.now(),
                key=form.request_key("dispose", "", shows),
            )
            return redirect("disposed")
        except BomError as error:
            refused = str(error)
    shown = shown_list(request, DISPOSE, rows)
    context = {"list": shown, "form": form, "refused": refused, "ticked": ticked, "alike": alike_in(shown)}
    around = {"may_post": may_post, "shows": shows, "expired": sum("past" in row.why for row in rows), "as_of": today()}
    status = 409 if refused else 422 if form.errors else 200
    return render(request, "web/storeroom/disposal.html", context | around | {"door": "storeroom"}, status=status)


@require_safe
def show_disposed(request: HttpRequest) -> HttpResponse:
    """The record of what has left the shop."""
    rows = disposed()
    if file := list_answer(request, "Disposal record", DISPOSED, rows):
        return file
    context = {"list": shown_list(request, DISPOSED, rows), "as_of": today(), "door": "storeroom"}
    return render(request, "web/storeroom/disposed.html", context)


@require_safe
def show_bench(request: HttpRequest) -> HttpResponse:
    """What jobs hold and may come back."""
    job = request.GET.get("job", "").strip()
    rows = with_job_rows(job)
    if file := list_answer(request, "With jobs", BENCH, rows):
        return file
    shown = shown_list(request, BENCH, rows)
    context = {"list": shown, "job": job, "may_post": request.user.has_perm(MAY_POST), "alike": alike_in(shown)}
    return render(request, "web/storeroom/bench.html", context | {"as_of": today(), "door": "storeroom"})


def entry_of(row: ToDispose) -> Entry | None:
    """What is taken off one account, None where it is gone since."""
    sheet = account_sheet(row.balance_id, today=today())
    return Entry(sheet.account, row.millionths) if sheet else None
