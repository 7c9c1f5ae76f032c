"""Outside work: what is out to be plated, lapped or cleaned, its paper, and how it comes back."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.queries import read_calendar, read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.models import OutsideWork, Supplier
from kits.purchasing.outside.actions import (
    move_outside_promise,
    send_from_shelf,
    send_position,
    take_back_in,
    take_sending_back,
)
from kits.purchasing.outside.queries import OutRow, lots_to_send, out_row, outside_list, positions_to_send, price_says
from kits.purchasing.rates.queries import read_rates
from kits.schedule.models import Job
from kits.stock.ledger import OnShelf, account_of
from kits.stock.models import Place
from kits.web.forms.buying.outside import BackForm, OutsidePromiseForm, SendForm
from kits.web.forms.kits import ReasonForm
from kits.web.lists import list_answer, shown_list

MAY_SEND, MAY_CHANGE = "purchasing.add_outsidework", "purchasing.change_outsidework"
COLUMNS: tuple[ListColumn[OutRow], ...] = (
    ListColumn("number", "Outside work", lambda row: row.pk, figure=True),
    ListColumn("promised", "Promised", lambda row: row.promised_on),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("piece", "Piece", lambda row: row.piece),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("supplier", "At", lambda row: row.supplier),
    ListColumn("work", "Work", lambda row: row.work),
    ListColumn("sent", "Sent", lambda row: row.sent_on),
    ListColumn("late", "Working days late", lambda row: row.days_late or None, figure=True),
    ListColumn("state", "How it stands", lambda row: row.state),
    ListColumn("back", "Came back", lambda row: row.back_on),
)
SHOWN_COLUMNS = tuple(column for column in COLUMNS if column.name not in {"late", "back", "piece"})


@require_safe
def show_outside(request: HttpRequest) -> HttpResponse:
    """What is out, the first promised on top."""
    as_of, every = today(), request.GET.get("show") == "all"
    rows = outside_list(as_of, read_calendar(read_settings()), every=every)
    if (answer := list_answer(request, "Outside work", COLUMNS, rows)) is not None:
        return answer
    context = {
        "list": shown_list(request, SHOWN_COLUMNS, rows, more=COLUMNS),
        "every": every,
        "out": sum(row.is_out for row in rows),
        "late": sum(row.days_late > 0 for row in rows),
        "may_send": request.user.has_perm(MAY_SEND),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/outside.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_SEND, raise_exception=True)
def send_outside(request: HttpRequest) -> HttpResponse:
    """Send out a position of a job that needs rework, or pieces of a lot, for a job or for none."""
    as_of, job, part = today(), _job_asked(request), _part_asked(request)
    positions, lots = positions_to_send(job) if job else [], lots_to_send(part.part_number) if part else []
    initial = {"sent_on": as_of}
    form = SendForm(positions, lots, request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            work = _send(request, form, job)
            messages.success(request, f"{str(work).capitalize()} is written: print its paper, it goes with the piece.")
            return redirect("outside_work", work=work.pk)
        except Refusal as error:
            form.add_error(None, str(error))
    context = {
        "form": form,
        "job": job,
        "part": part,
        "asked_job": request.GET.get("job", "").strip(),
        "asked_part": request.GET.get("part", "").strip(),
        "suppliers": list(Supplier.objects.values_list("supplier", flat=True)),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/outside_send.html", context, status=422 if form.errors else 200)


@require_safe
def show_outside_work(request: HttpRequest, work: int) -> HttpResponse:
    """One piece of outside work: what was wanted, how its promise moved, how it came back."""
    return _render(request, _work_or_404(work))


@require_safe
def print_outside(request: HttpRequest, work: int) -> HttpResponse:
    """The paper that goes with the piece."""
    found, settings = _work_or_404(work), read_settings()
    context = {"work": found, "row": out_row(found, today()), "shop_name": settings.text("shop_name")}
    return render(request, "web/purchasing/outside_paper.html", context | {"as_of": today(), "door": "purchasing"})


@require_POST
@permission_required(MAY_CHANGE, raise_exception=True)
def take_outside_back(request: HttpRequest, work: int) -> HttpResponse:
    """Write down how pieces came back."""
    found, form = _work_or_404(work), BackForm(_places(), request.POST)
    if form.is_valid():
        said = form.cleaned_data
        try:
            take_back_in(
                work=found,
                outcome=said["outcome"],
                on=said["on"],
                note=said["note"],
                certificate=said["certificate"],
                place_id=said["place"],
                key=form.request_key("back", found.pk),
                **_who(request),
            )
            messages.success(request, f"{str(found).capitalize()} is closed.")
            return redirect("outside_work", work=found.pk)
        except Refusal as error:
            form.add_error(None, str(error))
    return _render(request, found, back=form)


@require_POST
@permission_required(MAY_CHANGE, raise_exception=True)
def promise_outside(request: HttpRequest, work: int) -> HttpResponse:
    """Give pieces that are out another day."""
    found, form = _work_or_404(work), OutsidePromiseForm(request.POST)
    if form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("promised_on", "says")}
        try:
            move_outside_promise(work=found, key=form.request_key("outside promise", found.pk), **said, **_who(request))
            messages.success(request, f"{str(found).capitalize()} is promised for {in_full(said['promised_on'])} now.")
            return redirect("outside_work", work=found.pk)
        except Refusal as error:
            form.add_error(None, str(error))
    return _render(request, found, promise=form)


@require_POST
@permission_required(MAY_CHANGE, raise_exception=True)
def unsend_outside(request: HttpRequest, work: int) -> HttpResponse:
    """Say that pieces were not sent after all."""
    found, form = _work_or_404(work), ReasonForm(request.POST)
    if form.is_valid():
        try:
            key, why = form.request_key("not sent", found.pk), form.cleaned_data["reason"]
            take_sending_back(work=found, why=why, key=key, **_who(request))
            messages.success(request, f"{str(found).capitalize()} was not sent; what was taken lies where it lay.")
            return redirect("outside_work", work=found.pk)
        except Refusal as error:
            form.add_error(None, str(error))
    return _render(request, found, unsend=form)


def _send(request: HttpRequest, form: SendForm, job: Job | None) -> OutsideWork:
    piece = form.cleaned_data["piece"]
    facts: dict[str, Any] = {"wanted": form.wanted(), "key": form.request_key("outside", job), **_who(request)}
    if piece in form.positions:
        return send_position(verdict=form.positions[piece], **facts)
    source = account_of(form.lots[piece])
    assert isinstance(source, OnShelf)
    return send_from_shelf(source=source, quantity=form.cleaned_data["quantity"] or 0, job=job, **facts)


def _who(request: HttpRequest) -> dict[str, Any]:
    return {"by": cast(User, request.user), "at": timezone.now(), "today": today()}


def _job_asked(request: HttpRequest) -> Job | None:
    asked = request.GET.get("job", "").strip()
    return Job.objects.by_number(asked) if asked else None


def _part_asked(request: HttpRequest) -> Item | None:
    asked = request.GET.get("part", "").strip()
    return Item.objects.by_number(asked) if asked else None


def _work_or_404(work: int) -> OutsideWork:
    found = (
        OutsideWork.objects.select_related("supplier", "item", "job", "lot", "by", "back_by").filter(pk=work).first()
    )
    if found is None:
        raise Http404(f"There is no outside work {work}.")
    return found


def _places() -> list[tuple[int, str]]:
    return list(Place.objects.values_list("pk", "place"))


def _render(
    request: HttpRequest,
    work: OutsideWork,
    *,
    back: BackForm | None = None,
    promise: OutsidePromiseForm | None = None,
    unsend: ReasonForm | None = None,
) -> HttpResponse:
    as_of, refused = today(), next((form for form in (back, promise, unsend) if form is not None), None)
    row = out_row(work, as_of, read_calendar(read_settings()))
    costs, both = price_says(row, read_rates(as_of))
    context = {
        "work": work,
        "row": row,
        "costs": costs,
        "both": both,
        "promises": list(work.promises.select_related("by")),
        "back": back or BackForm(_places(), initial={"on": as_of}),
        "promise": promise or OutsidePromiseForm(),
        "unsend": unsend or ReasonForm(),
        "refused": refused.non_field_errors() if refused else (),
        "may_change": request.user.has_perm(MAY_CHANGE),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/outside_work.html", context, status=422 if refused else 200)
