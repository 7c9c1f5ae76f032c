"""Replies of suppliers: take a filled-in workbook back, look at its lines, accept them one by one."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.day_doubts import doubts_now
from kits.catalog.errors import Refusal
from kits.exchange.reading.sheet_files import SheetFile
from kits.exchange.replies.taking_back import take_reply_back
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.actions import accept_answer, accept_promise, set_reply_line
from kits.purchasing.models import ReplyLine, ReplyState, Supplier
from kits.purchasing.reply_list import find_reply_line, line_row, reply_list, reply_sheet
from kits.web.purchasing_forms import AcceptPromiseForm, AnswerForm, ReplyFileForm
from kits.web.views.faults import needs_plan
from kits.web.views.purchasing import MAY_ORDER

LineForm = AnswerForm | AcceptPromiseForm


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
    context = {
        "form": form,
        "replies": replies,
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


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ORDER, raise_exception=True)
def look_at_line(request: HttpRequest, line: int) -> HttpResponse:
    """Put a line right, then accept it."""
    found = line_or_404(line)
    form = line_form(found, request.POST if request.method == "POST" else None)
    if request.method == "POST" and accept(request, found, form):
        return redirect("reply", reply=found.reply_id)
    return render_line(request, found, form)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def decide_line(request: HttpRequest, line: int) -> HttpResponse:
    """Accept a line as it stands, set it aside, or open it again."""
    found = line_or_404(line)
    if "accept" in request.POST:
        form = line_form(found, said(found))
        if accept(request, found, form):
            return redirect("reply", reply=found.reply_id)
        return render_line(request, found, form)
    state = ReplyState.SET_ASIDE if "aside" in request.POST else ReplyState.OPEN
    try:
        set_reply_line(reply_line=found.pk, state=state, by=cast(User, request.user), at=timezone.now())
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("reply", reply=found.reply_id)


def accept(request: HttpRequest, line: ReplyLine, form: LineForm) -> bool:
    """Accept what the form says; what cannot be accepted is said in the form."""
    if not form.is_valid():
        return False
    by, at = cast(User, request.user), timezone.now()
    try:
        if isinstance(form, AnswerForm):
            done = accept_answer(reply_line=line.pk, answer=form.answer, by=by, at=at, today=today())
        else:
            promised, note = form.cleaned_data["promised"], form.cleaned_data["note"]
            done = accept_promise(reply_line=line.pk, promised_on=promised, note=note, by=by, at=at, today=today())
    except Refusal as error:
        form.add_error(None, str(error))
        return False
    messages.success(request, f"{line.key}: {done.outcome}.")
    return True


def said(line: ReplyLine) -> dict[str, str]:
    """A line as it was heard, in the words of the form."""
    return {"part": line.item.part_number if line.item else "", **line.heard}


def line_form(line: ReplyLine, data: object) -> LineForm:
    """The form of a line: an answer to a row of what to buy, or another day for an order."""
    make: type[LineForm] = AcceptPromiseForm if line.sheet == "Expedite" else AnswerForm
    return make(doubts_now(), data, initial=said(line))


def line_or_404(number: int) -> ReplyLine:
    """The line of a reply with this number."""
    found = find_reply_line(number)
    if found is None:
        raise Http404("There is no such line of a reply.")
    return found


def render_line(request: HttpRequest, line: ReplyLine, form: LineForm) -> HttpResponse:
    """The page of one line of a reply."""
    context = {
        "line": line_row(line),
        "reply": line.reply,
        "form": form,
        "suppliers": list(Supplier.objects.values_list("supplier", flat=True)),
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/reply_line.html", context, status=422 if form.errors else 200)
