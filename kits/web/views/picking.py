"""Picking: the front door, and a round on the tablet and on paper."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.picking.actions import confirm_line, give_up_round, start_round, undo_line
from kits.picking.clean_work import may_pick_class
from kits.picking.errors import PickRefusal
from kits.picking.models import PickLine, PickRound
from kits.picking.rounds.after import after_round
from kits.picking.rounds.front import find_jobs, front_sheet
from kits.picking.rounds.sheet import RoundSheet, find_line, round_sheet
from kits.picking.scanning.actions import scan_on_line
from kits.picking.scanning.coded_labels import bag_labels, bags_of_round
from kits.picking.scanning.photo import CAN_READ_PHOTOS
from kits.picking.sending.sent_list import sent_rows
from kits.picking.walkers.walking import colleagues
from kits.picking.words import LineState
from kits.planning.queries import plan_now
from kits.web.forms.picking import EMPTY, ScanForm, ShortForm
from kits.web.page_number import is_number, page_number
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.codes.printing import chosen_paper, label_file, labels_link
from kits.web.views.faults import needs_plan

MAY_SEE, MAY_PICK = "picking.view_pickround", "picking.change_pickline"
MAY_TAKE_BACK = "picking.change_sentjob"
SENT_SHOWN = 8
"""The rest is folded."""


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
@needs_plan
def show_picking(request: HttpRequest) -> HttpResponse:
    """Rounds under way, jobs that can be picked, bags that wait for their job to be closed."""
    plan = plan_now()
    sheet = front_sheet(plan, request.GET.get("batch", "").strip(), page_number(request))
    may_pick = request.user.has_perm(MAY_PICK)
    groups = [(group, may_pick and may_pick_class(picker(request), group.cleanliness)) for group in sheet.groups]
    sent = sent_rows(plan)
    context = {
        "sheet": sheet,
        "groups": groups,
        "sent": sent[:SENT_SHOWN],
        "sent_later": sent[SENT_SHOWN:],
        "may_pick": may_pick,
        "may_take_back": request.user.has_perm(MAY_TAKE_BACK),
        "as_of": sheet.as_of,
        "door": "picking",
    }
    return render(request, "web/picking/front.html", context)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
@needs_plan
def start_picking(request: HttpRequest) -> HttpResponse:
    """Start a round for the ticked jobs."""
    form = KeyForm(request.POST)
    try:
        refuse_foreign(form)
        jobs = find_jobs(request.POST.getlist("job"))
        made = start_round(jobs=jobs, by=picker(request), at=timezone.now(), key=form.request_key("round"))
    except Refusal as error:
        messages.error(request, str(error))
        return redirect("picking")
    return redirect("pick_round", number=made.pk)


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
def show_round(request: HttpRequest, number: int) -> HttpResponse:
    """One line at a time, and the list of the rest."""
    line = request.GET.get("line", "")
    sheet = find_round(number, int(line) if is_number(line) else None, request)
    return render_round(request, sheet)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def book_line(request: HttpRequest, number: int, line: int) -> HttpResponse:
    """Book a line, in full or as it was found."""
    sheet = find_round(number, line, request)
    found = find_line(number, line)
    if found is None or sheet.current is None:
        raise Http404(f"Round {number} has no such line.")
    form = ShortForm(sheet.current, request.POST)
    if not form.is_valid():
        return render_round(request, sheet, form=form, status=422)
    as_written = not {"full", "empty"} & set(request.POST)
    try:
        key = form.request_key("line", line, sheet.current.shows)
        around: dict[str, Any] = {"line": found, "by": picker(request), "at": timezone.now(), "request_key": key}
        if "empty" in request.POST:
            confirm_line(quantities={}, counted=0, reason=EMPTY, **around)
        elif as_written:
            said = {"reason": form.said, "counted": form.cleaned_data["counted"], "damage": form.damage}
            confirm_line(quantities=form.quantities, **said, **around)
        else:
            confirm_line(quantities={one.bag.job_id: one.asked.millionths for one in sheet.current.into}, **around)
    except Refusal as error:
        sheet = find_round(number, line, request)
        if as_written and sheet.current and sheet.current.is_open:
            form.refuse(error)
            return render_round(request, sheet, form=form, status=409)
        return render_round(request, sheet, refused=str(error), status=409)
    if sheet.current and sheet.current.stand_ins and PickLine.objects.filter(pk=line, state=LineState.SHORT).exists():
        return redirect(f"{reverse('pick_round', args=[number])}?line={line}")
    return redirect("pick_round", number=number)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def scan_line(request: HttpRequest, number: int, line: int) -> HttpResponse:
    """Take a scan before a line: bin or packet, then the bags; what is wrong is named and nothing is booked."""
    sheet, found = find_round(number, line, request), find_line(number, line)
    if found is None or sheet.current is None:
        raise Http404(f"Round {number} has no such line.")
    form = ScanForm(request.POST, request.FILES)
    try:
        if not form.is_valid():
            raise PickRefusal(str(next(iter(form.errors.values()))[0]))
        key = form.request_key("scan", line, sheet.current.shows, at_once=True)
        scanned = scan_on_line(line=found, text=form.said(), by=picker(request), at=timezone.now(), key=key)
    except Refusal as error:
        return render_round(request, find_round(number, line, request), refused=str(error), status=409)
    if scanned.booked is None:
        messages.success(request, scanned.says)
        return redirect(f"{reverse('pick_round', args=[number])}?line={line}")
    return redirect("pick_round", number=number)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def undo_booking(request: HttpRequest, number: int, line: int) -> HttpResponse:
    """Take back what was booked on a line, and stand before it again."""
    found, form = find_line(number, line), KeyForm(request.POST)
    current = find_round(number, line).current
    if found is None or current is None:
        raise Http404(f"Round {number} has no such line.")
    try:
        refuse_foreign(form)
        key = form.request_key("undo", line, current.booking)
        undo_line(line=found, by=picker(request), at=timezone.now(), request_key=key)
    except Refusal as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Line {found.number} is taken back: put the pieces into the bin again.")
    return redirect(f"{reverse('pick_round', args=[number])}?line={line}")


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def give_up(request: HttpRequest, number: int) -> HttpResponse:
    """End a round whose open lines will not be walked."""
    found, form, sheet = get_object_or_404(PickRound, pk=number), KeyForm(request.POST), find_round(number)
    try:
        refuse_foreign(form)
        key = form.request_key("give up", number, sheet.still_open)
        give_up_round(pick_round=found, by=picker(request), at=timezone.now(), key=key)
    except Refusal as error:
        messages.error(request, str(error))
        return redirect("pick_round", number=number)
    messages.success(request, f"Round {number} is given up; what was not picked is free for the plan again.")
    return redirect("picking")


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
def print_round(request: HttpRequest, number: int) -> HttpResponse:
    """The pick list on paper."""
    sheet = find_round(number)
    return render(request, "web/picking/list.html", {"sheet": sheet, "as_of": sheet.as_of, "door": "picking"})


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
def print_bag_labels(request: HttpRequest, number: int) -> HttpResponse:
    """A label for each bag of a round, to print before the first piece goes in."""
    sheet = find_round(number)
    labels = bag_labels(bags_of_round(number))
    if file := label_file(request, labels, f"bags-of-round-{number}"):
        return file
    choice = chosen_paper(request, labels)
    context = {"sheet": sheet, "labels": labels, "choice": choice, "as_of": sheet.as_of, "door": "picking"}
    return render(request, "web/picking/bag_labels.html", context, status=422 if choice.wrong else 200)


def picker(request: HttpRequest) -> User:
    """Who stands at the bins."""
    return cast(User, request.user)


def find_round(number: int, line: int | None = None, request: HttpRequest | None = None) -> RoundSheet:
    """The sheet of a round as who asks for it sees it, or a page that says there is none."""
    sheet = round_sheet(number, line, picker(request) if request else None)
    if sheet is None:
        raise Http404(f"There is no round {number}.")
    return sheet


def render_round(
    request: HttpRequest, sheet: RoundSheet, *, form: ShortForm | None = None, refused: str = "", status: int = 200
) -> HttpResponse:
    """The round on the tablet; ``form`` holds what was typed where it was refused."""
    if form is None and sheet.current is not None:
        form = ShortForm(sheet.current)
    may_pick, trained = request.user.has_perm(MAY_PICK), may_pick_class(picker(request), sheet.cleanliness)
    walks = may_pick and trained and sheet.is_running
    context: dict[str, Any] = {
        "sheet": sheet,
        "form": form,
        "refused": refused,
        "may_pick": may_pick and trained,
        "may_book": walks and sheet.is_ours,
        "colleagues": list(colleagues(sheet.cleanliness, picker(request))) if walks else [],
        "after": None if sheet.is_running else after_round(sheet),
        "untrained": may_pick and not trained,
        "scan_at_bin": read_settings().scan_at_bin,
        "reads_photos": CAN_READ_PHOTOS,
        "read_at": reverse("read_code"),
        "as_of": sheet.as_of,
        "door": "picking",
    }
    if (after := context["after"]) and after.opened:
        context["labels_link"] = labels_link(after.opened, "Print the labels")
    return render(request, "web/picking/round.html", context, status=status)
