"""Build days proposed: a list of moves, accepted row by row, both plans side by side, stored in one step."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError, ShopError
from bom.values import Job
from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.models import UploadOrigin
from kits.exchange.reading.changed_jobs import changed_file, rebuilt_on
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets, sheets_of
from kits.planning.desk.proposed_days import ProposedMove, begin_days, try_days
from kits.planning.queries import plan_now
from kits.planning.questions.trial import TrialBoard, TrialSheet
from kits.planning.words.states import in_words, plural
from kits.web.forms.schedule.proposed_days import accepted_days
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.long_work import LongWork, is_watched, patience_for, show_done, show_work
from kits.web.views.schedule.keeping import effect_says, keep_jobs

MOVES: tuple[ListColumn[ProposedMove], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("pump", "Pump", lambda row: row.pump),
    ListColumn("batch", "Batch", lambda row: row.batch),
    ListColumn("priority", "Priority", lambda row: row.priority, figure=True),
    ListColumn("typed", "Day typed", lambda row: row.build_on),
    ListColumn("comes", "What comes of it", lambda row: row.typed_says),
    ListColumn("proposed", "Day proposed", lambda row: row.proposed_on),
    ListColumn("then", "What comes of that", lambda row: row.proposed_says),
)
WHY = "Days proposed, so that most jobs are on time."
WORK = LongWork(
    title="Proposed days",
    doing="Days are being chosen.",
    steps="The steps: count what the shelf and the orders give to whom, choose days, plan the whole shop with them. "
    "With 400 jobs that takes some ten seconds.",
    door="schedule",
    back="schedule",
    back_says="the schedule",
)


@require_safe
@needs_plan
def show_proposed_days(request: HttpRequest) -> HttpResponse:
    """The moves that are proposed, of all jobs or of one batch."""
    plan, batch = plan_now(), request.GET.get("batch", "").strip()
    begun = begin_days(plan, patience=patience_for(request), latest="latest" in request.GET)
    if begun.future.done() and is_watched(request):
        return show_done(request)
    if (found := begun.answer) is None:
        return show_work(request, begun, WORK)
    if "work" in request.GET:
        return show_done(request)
    context: dict[str, Any] = {"begun": begun, "batch": batch, "as_of": plan.shop.as_of, "door": "schedule"}
    sheet = found.of_batch(batch) if batch else found
    if file := list_answer(request, f"Proposed days {batch}".strip(), MOVES, sheet.rows):
        return file
    context |= {
        "sheet": sheet,
        "list": shown_list(request, MOVES, sheet.rows),
        "may_load": SCHEDULE.name in sheets_of(cast(User, request.user)),
    }
    return render(request, "web/schedule/proposed_days.html", context)


def _page_of(batch: str) -> str:
    asked = f"?{urlencode({'batch': batch})}" if batch else ""
    return f"{reverse('proposed_days')}{asked}"


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
@needs_plan
def take_proposed_days(request: HttpRequest) -> HttpResponse:
    """What the rows that are ticked do to all jobs; stored in one step."""
    require_sheets(cast(User, request.user), [SCHEDULE.name])
    if "store" in request.POST and KeyForm(request.POST).is_repeat("proposed days"):
        return redirect("schedule")
    board, batch, refused, tried = TrialBoard(), request.POST.get("batch", "").strip(), "", None
    try:
        days = _accepted(request, board, batch)
    except BomError as error:
        messages.error(request, str(error))
        return redirect(_page_of(batch))
    planned = board.planned(days)
    if not planned:
        messages.error(request, "No row is ticked, so there is nothing to move: tick some of them.")
        return redirect(_page_of(batch))
    moved = [rebuilt_on(job, days[job.job]) for job in planned]
    try:
        tried = try_days(board.plan, moved)
        if "store" in request.POST:
            return _store(request, planned, moved, tried.sheet)
    except ShopError as error:
        refused = " ".join(fault.says for fault in error.faults)
    except BomError as error:
        refused = str(error)
    context = {
        "moves": [(job, days[job.job]) for job in planned],
        "tried": tried,
        "sheet": tried.sheet if tried else None,
        "batch": batch,
        "refused": refused,
        "shows": _shows(planned, days),
        "as_of": board.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/schedule/proposed_days_tried.html", context, status=409 if refused else 200)


def _accepted(request: HttpRequest, board: TrialBoard, batch: str) -> Mapping[str, date]:
    """The days of the rows that are ticked, or of all that are proposed."""
    if "all" not in request.POST:
        return accepted_days(request.POST)
    found = begin_days(board.plan).answer
    if found is None:
        raise Refusal("What was proposed is too old by now, so days are chosen anew: look at them, then take them all.")
    return {row.job: row.proposed_on for row in (found.of_batch(batch) if batch else found).rows}


def _store(request: HttpRequest, planned: tuple[Job, ...], moved: list[Job], sheet: TrialSheet) -> HttpResponse:
    """Check the moved jobs as any list is checked, and load them; what is asked about stands on their preview."""
    key = KeyForm(request.POST)
    refuse_foreign(key)
    return keep_jobs(
        request,
        changed_file(moved, ""),
        UploadOrigin.CHANGED,
        key=key.request_key("proposed days", "", _shows(planned, {job.job: job.build_on for job in moved})),
        says=f"{plural(len(moved), 'job')} moved: {in_words([job.job for job in moved])}. {effect_says(sheet)}",
        then=reverse("schedule"),
        why=WHY,
    )


def _shows(planned: tuple[Job, ...], days: Mapping[str, date]) -> tuple[str, ...]:
    """What the page shows of each job and its new day: a change of the job by somebody else is noticed."""
    return tuple(f"{job.job} {job.build_on} {job.priority} {job.stage} {days[job.job]}" for job in planned)
