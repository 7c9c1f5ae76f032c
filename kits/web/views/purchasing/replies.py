"""Replies of suppliers: take a filled-in workbook back, look at its lines, accept them one by one or together."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.days.doubts import doubts_now
from kits.catalog.errors import Refusal
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.taking_back import take_reply_back
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.models import ReplyLine, ReplyState, Supplier
from kits.purchasing.replies.actions import (
    EXPEDITE,
    accept_answer,
    accept_as_stated,
    accept_promise,
    set_reply_line,
)
from kits.purchasing.replies.reply_list import ReplyRow, find_reply_line, line_row, reply_list, reply_sheet
from kits.web.forms.purchasing import ReplyFileForm
from kits.web.forms.replies import AcceptPromiseForm, AnswerForm, ReplyLineForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.purchasing.front import MAY_ORDER

COLUMNS: tuple[ListColumn[ReplyRow], ...] = (
    ListColumn("file", "File", lambda row: row.file_name),
    ListColumn("reply", "Reply", lambda row: row.pk, figure=True),
    ListColumn("written", "Written as of", lambda row: row.written_on),
    ListColumn("taken", "Taken back", lambda row: row.at),
    ListColumn("by", "By", lambda row: row.by or "the command"),
    ListColumn("lines", "Lines", lambda row: row.lines, figure=True),
    ListColumn("accepted", "Accepted", lambda row: row.accepted, figure=True),
    ListColumn("open", "Open", lambda row: row.open, figure=True),
)


@require_http_methods(["GET", "HEAD", "POST"])
@needs_plan
def show_replies(request: HttpRequest) -> HttpResponse:
    """The replies that came back, and the form that takes another one."""
    may_order = request.user.has_perm(MAY_ORDER)
    if request.method == "POST" and not may_order:
        raise PermissionDenied
    form = ReplyFileForm(request.POST, request.FILES) if request.method == "POST" else ReplyFileForm()
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["filled"]
        try:
            taken = take_reply_back(
                file=SheetFile(file.name, file.read()), by=cast(User, request.user), at=timezone.now(), today=today()
            )
            return redirect("reply", reply=taken.pk)
        except Refusal as error:
            form.add_error("filled", str(error))
    replies = reply_list()
    if request.method != "POST" and (file := list_answer(request, "Suppliers' replies", COLUMNS, replies)):
        return file
    context = {
        "form": form,
        "list": shown_list(request, COLUMNS, replies),
        "open": sum(reply.open for reply in replies),
        "may_order": may_order,
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/replies.html", context, status=422 if form.errors else 200)


@require_safe
def show_reply(request: HttpRequest, reply: int) -> HttpResponse:
    """The lines of a reply, before beside after."""
    sheet = reply_sheet(reply)
    if sheet is None:
        raise Http404(f"There is no reply {reply}.")
    context = {
        "sheet": sheet,
        "may_order": request.user.has_perm(MAY_ORDER),
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/reply.html", context)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def accept_lines(request: HttpRequest, reply: int) -> HttpResponse:
    """Accept the ticked lines of a reply as they stand; none of them may have anything beside it to be answered."""
    sheet = reply_sheet(reply)
    if sheet is None:
        raise Http404(f"There is no reply {reply}.")
    chosen = [line for line in sheet.lines if str(line.pk) in request.POST.getlist("line")]
    form = KeyForm(request.POST)
    try:
        refuse_foreign(form)
        key = form.request_key("accept", reply)
        done = accept_as_stated(
            reply=reply,
            lines=[line.pk for line in chosen],
            key=key,
            by=cast(User, request.user),
            at=timezone.now(),
            today=today(),
        )
        if not chosen:
            messages.error(request, "No line was ticked, so nothing was accepted: tick the lines to accept.")
        for line in done:
            messages.success(request, f"{line.key}: {line.outcome}.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("reply", reply=reply)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ORDER, raise_exception=True)
def look_at_line(request: HttpRequest, line: int) -> HttpResponse:
    """Answer what is asked about a line and put it right, then accept it."""
    found = line_or_404(line)
    make: type[ReplyLineForm] = AcceptPromiseForm if found.sheet == EXPEDITE else AnswerForm
    form = make(doubts_now(), found, request.POST.dict() if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and accept(request, found, form):
        return redirect("reply", reply=found.reply_id)
    context = {
        "line": line_row(found),
        "reply": found.reply,
        "form": form,
        "suppliers": list(Supplier.objects.values_list("supplier", flat=True)),
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/reply_line.html", context, status=422 if form.errors else 200)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def decide_line(request: HttpRequest, line: int) -> HttpResponse:
    """Set a line aside, or open it again."""
    found = line_or_404(line)
    state = ReplyState.SET_ASIDE if "aside" in request.POST else ReplyState.OPEN
    form = KeyForm(request.POST)
    try:
        refuse_foreign(form)
        key = form.request_key("decide", found.pk)
        set_reply_line(reply_line=found.pk, state=state, key=key, by=cast(User, request.user), at=timezone.now())
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("reply", reply=found.reply_id)


def accept(request: HttpRequest, line: ReplyLine, form: ReplyLineForm) -> bool:
    """Accept what the form says; what cannot be accepted is said in the form."""
    by, at = cast(User, request.user), timezone.now()
    try:
        key = form.request_key("accept line", line.pk)
        if isinstance(form, AnswerForm):
            done = accept_answer(
                reply_line=line.pk, answer=form.answer, answers=form.answers, key=key, by=by, at=at, today=today()
            )
        else:
            promised, note = form.cleaned_data["promised"], form.cleaned_data["note"]
            done = accept_promise(
                reply_line=line.pk,
                promised_on=promised,
                note=note,
                answers=form.answers,
                key=key,
                by=by,
                at=at,
                today=today(),
            )
    except Refusal as error:
        form.add_error(None, str(error))
        return False
    messages.success(request, f"{line.key}: {done.outcome}.")
    return True


def line_or_404(number: int) -> ReplyLine:
    """The line of a reply with this number."""
    found = find_reply_line(number)
    if found is None:
        raise Http404("There is no such line of a reply.")
    return found
