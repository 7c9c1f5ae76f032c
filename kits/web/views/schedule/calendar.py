"""The working calendar: when the shop is closed, and what closing or opening days does to the plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError
from kits.catalog.actions import close_days, open_days
from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.planning.questions.trial import TrialBoard
from kits.planning.sheets.calendar import CalendarSheet, calendar_sheet
from kits.planning.words.states import plural
from kits.web.forms.schedule.calendar import CloseDaysForm, OpenDaysForm
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan

MAY_CLOSE = "catalog.change_holiday"


@require_safe
@needs_plan
def show_calendar(request: HttpRequest) -> HttpResponse:
    """The coming months."""
    board = TrialBoard()
    return _render(request, board, calendar_sheet(board.plan))


@require_POST
@permission_required(MAY_CLOSE, raise_exception=True)
@needs_plan
def close_shop(request: HttpRequest) -> HttpResponse:
    """Close the shop on some days: what it does first, then stored."""
    board = TrialBoard()
    sheet, form = calendar_sheet(board.plan), CloseDaysForm(board.as_of, request.POST)
    if not form.is_valid():
        return _render(request, board, sheet, close=form)
    if "store" not in request.POST:
        return _render(
            request, board, sheet, close=form, asked="close", days=form.days, trial=board.try_closed(close=form.days)
        )
    try:
        _read_key(request, "close", sheet, form.days)
    except BomError as error:
        return _render(request, board, sheet, close=form, refused=str(error))
    closed = close_days(days=form.days, name=form.cleaned_data["name"], by=cast(User, request.user), at=timezone.now())
    messages.success(request, f"The shop is closed on {plural(closed, 'more day')}; every date is counted with it now.")
    return redirect("calendar")


@require_POST
@permission_required(MAY_CLOSE, raise_exception=True)
@needs_plan
def open_shop(request: HttpRequest) -> HttpResponse:
    """Work on some closed days after all: what it does first, then stored."""
    board = TrialBoard()
    sheet = calendar_sheet(board.plan)
    form = OpenDaysForm([day.on for day in sheet.closed], request.POST)
    if not form.is_valid():
        return _render(request, board, sheet, reopen=form)
    days = form.cleaned_data["day"]
    if "store" not in request.POST:
        return _render(request, board, sheet, reopen=form, asked="open", days=days, trial=board.try_closed(reopen=days))
    try:
        _read_key(request, "open", sheet, days)
    except BomError as error:
        return _render(request, board, sheet, reopen=form, refused=str(error))
    opened = open_days(days=days, why=form.cleaned_data["why"], by=cast(User, request.user), at=timezone.now())
    messages.success(request, f"The shop works on {plural(opened, 'day')} more; every date is counted with it now.")
    return redirect("calendar")


def _read_key(request: HttpRequest, kind: str, sheet: CalendarSheet, days: Sequence[date]) -> None:
    key = KeyForm(request.POST)
    refuse_foreign(key)
    key.request_key(kind, "days", _shows(sheet), [str(day) for day in days])


def _shows(sheet: CalendarSheet) -> list[str]:
    """What the page shows of the closed days: a change by somebody else meanwhile is noticed."""
    return [str(day.on) for day in sheet.closed]


def _render(request: HttpRequest, board: TrialBoard, sheet: CalendarSheet, **said: Any) -> HttpResponse:
    close, reopen = said.get("close"), said.get("reopen")
    wrong = any(form is not None and form.errors for form in (close, reopen))
    asked = said.get("asked", "")
    context = {
        "calendar": sheet,
        "close": close or CloseDaysForm(board.as_of),
        "reopen": reopen,
        "ticked": {str(day) for day in reopen.data.getlist("day")} if reopen else set(),
        "asked": asked,
        "sheet": said.get("trial"),
        "days": [str(day) for day in said.get("days", ())],
        "shows": _shows(sheet),
        "refused": said.get("refused", ""),
        "may_close": request.user.has_perm(MAY_CLOSE),
        "as_of": sheet.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/calendar.html", context, status=422 if wrong else 409 if said.get("refused") else 200)
